"""How long records about people are kept, what is due to go, and seeing it go."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from django.db import transaction

from academy import ledger, people, personal
from academy.models import Centre, Disposal, Person, RecordHold, RetentionPeriod
from academy.personal import Batch, Due, RecordKind
from academy.refusals import Refused, check_fields

BATCH = 200
"""Records a transaction, and a ledger entry: nobody else's writing waits for all of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Period:
    """The period in force for one kind: the usual one, or the centre's own."""

    kind: RecordKind
    months: int
    source: str
    own: RetentionPeriod | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A record that is due, and may not go yet."""

    due: Due
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What was kept until before ``before``: due to go, or held."""

    period: Period
    before: date
    due: tuple[Due, ...]
    held: tuple[Held, ...]


def kinds() -> Iterator[RecordKind]:
    for keeper in personal.keepers():
        yield from keeper.kinds


def kind_named(slug: str) -> RecordKind:
    found = {kind.slug: kind for kind in kinds()}
    if slug not in found:
        raise Refused(f"There is no kind of record “{slug}”. The kinds are: {', '.join(found)}.")
    return found[slug]


def periods(*, centre: Centre) -> list[Period]:
    own = {each.kind: each for each in RetentionPeriod.objects.filter(centre=centre)}
    return [_period(kind, own.get(kind.slug)) for kind in kinds()]


def period_of(*, centre: Centre, kind: RecordKind) -> Period:
    return _period(kind, RetentionPeriod.objects.filter(centre=centre, kind=kind.slug).first())


def set_period(
    *, centre: Centre, kind: RecordKind, months: int, source: str, by: Person, at: datetime
) -> RetentionPeriod:
    """Give a kind the centre's own period, and say whose rule it is."""
    people.check_own_centre(centre=centre, by=by)
    source = source.strip()
    if not source:
        raise Refused("Say whose rule it is: your scheme, your funder, your own.", field="source")
    if not 1 <= months <= 1200:
        raise Refused("The period is a month at least, and a century at most.", field="months")
    with transaction.atomic():
        ledger.lock(centre=centre)
        period = RetentionPeriod.objects.filter(centre=centre, kind=kind.slug).first() or RetentionPeriod(
            centre=centre, kind=kind.slug
        )
        period.months, period.source, period.changed_by, period.changed_at = months, source, by, at
        check_fields(period)
        period.save()
        facts = {"kind": kind.slug, "months": str(months)}
        ledger.append(centre=centre, actor=by, verb="retention.set", subject=centre.pk, at=at, facts=facts)
    return period


def due(*, centre: Centre, kind: RecordKind, at: datetime) -> Found:
    """What has been kept for its period, the oldest first. Nothing is changed."""
    period = period_of(centre=centre, kind=kind)
    before = months_before(centre.date_at(at), period.months)
    moment = datetime.combine(before, time(), tzinfo=centre.zone)
    found = sorted(kind.due(centre, moment), key=lambda one: (one.since, one.words, one.id))
    holds = personal.held({one.person for one in found if one.person})
    held = {
        one.id: Held(due=one, reasons=tuple(holds[one.person]))
        for one in found
        if one.person and one.person in holds
    }
    # What several people are in goes once, and not while one of them is held.
    free = {one.id: one for one in found if one.id not in held}
    return Found(period=period, before=before, due=tuple(free.values()), held=tuple(held.values()))


def dispose(*, centre: Centre, kind: RecordKind, by: Person, at: datetime) -> int:
    """Dispose of what is due, in batches, each with its entry in the ledger. Returns how much that was.

    Not to be called inside a transaction: each batch stands by itself, so what is done stays done.
    """
    people.check_own_centre(centre=centre, by=by)
    count = 0
    while batch := _next_batch(centre=centre, kind=kind, by=by, at=at):
        count += batch
    return count


def place_hold(
    *, person: Person, cause: RecordHold.Cause | str, reason: str, by: Person, at: datetime
) -> RecordHold:
    """Keep everything about a person for the time being, whatever its period."""
    centre = _centre_of(person, by)
    reason = reason.strip()
    if not reason:
        raise Refused("Say why.", field="reason")
    if person.pk == by.pk:
        raise Refused("Somebody else must put your own records on hold.")
    with transaction.atomic():
        hold = RecordHold(person=person, cause=cause, reason=reason, placed_by=by, placed_at=at)
        check_fields(hold)
        hold.save(force_insert=True)
        facts = {
            "person": str(person.pk),
            "cause": str(cause),
            "reason": ledger.sealed(reason, hold.salt),
        }
        ledger.append(centre=centre, actor=by, verb="record-hold.place", subject=hold.pk, at=at, facts=facts)
    return hold


def lift_hold(*, hold: RecordHold, why: str, by: Person, at: datetime) -> RecordHold:
    centre = _centre_of(hold.person, by)
    why = why.strip()
    if not why:
        raise Refused("Say why.", field="why")
    with transaction.atomic():
        ledger.lock(centre=centre)
        hold = RecordHold.objects.select_related("person__centre").get(pk=hold.pk)
        if hold.lifted_at:
            raise Refused("That hold was lifted already.")
        hold.lifted_by, hold.lifted_at, hold.lifted_why = by, at, why
        hold.save(update_fields=["lifted_by", "lifted_at", "lifted_why"])
        facts = {"person": str(hold.person_id), "why": ledger.sealed(why, hold.salt)}
        ledger.append(centre=centre, actor=by, verb="record-hold.lift", subject=hold.pk, at=at, facts=facts)
    return hold


def months_before(day: date, months: int) -> date:
    """The same day so many months earlier, or the last of its month."""
    year, month = divmod(day.year * 12 + day.month - 1 - months, 12)
    for last in range(day.day, 27, -1):
        try:
            return date(year, month + 1, last)
        except ValueError:
            continue
    return date(year, month + 1, day.day)


def _period(kind: RecordKind, own: RetentionPeriod | None) -> Period:
    if own is None:
        return Period(kind=kind, months=kind.months, source=kind.source, own=None)
    return Period(kind=kind, months=own.months, source=own.source, own=own)


def _next_batch(*, centre: Centre, kind: RecordKind, by: Person, at: datetime) -> int:
    with transaction.atomic():
        ledger.lock(centre=centre)
        found = due(centre=centre, kind=kind, at=at)
        # Nobody disposes of themselves: another manager must.
        batch: Sequence[Due] = [one for one in found.due if kind.slug != "people" or one.id != str(by.pk)][
            :BATCH
        ]
        if not batch:
            return 0
        ids = [one.id for one in batch]
        kind.dispose(Batch(centre=centre, ids=ids, by=by, at=at))
        facts: dict[str, ledger.Fact] = {
            "kind": kind.slug,
            "before": found.before.isoformat(),
            "months": str(found.period.months),
            "ids": ids,
        }
        entry = ledger.append(
            centre=centre, actor=by, verb="retention.dispose", subject=centre.pk, at=at, facts=facts
        )
        Disposal.objects.create(
            centre=centre,
            kind=kind.slug,
            count=len(batch),
            before=found.before,
            months=found.period.months,
            by=by,
            at=at,
            ledger_number=entry.number,
        )
    return len(batch)


def _centre_of(person: Person, by: Person) -> Centre:
    if person.centre is None:
        raise Refused("This person belongs to no centre yet.")
    people.check_own_centre(centre=person.centre, by=by)
    return person.centre

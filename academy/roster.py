"""A roster: people as rows, one each, with the role and the cohort that a row gives them."""

from collections.abc import Sequence
from datetime import date

from academy import cohorts, people
from academy.models import Cohort, Membership, Person, Role, normal_email
from academy.permissions import Permission
from academy.transfer import cells
from academy.transfer.kinds import Kind, Sender, require_unchanged
from academy.transfer.tables import CellRefused, Column, Row

NAME, EMAIL, COHORT, ROLE, FIRST_DAY, LAST_DAY = "name", "email", "cohort", "role", "first day", "last day"


def bring_in(rows: Sequence[Row], sender: Sender) -> bool:
    """Add the person, or what a person who is known doesn't have yet: the role, the place in the cohort."""
    (row,) = rows
    on = cells.day(row, FIRST_DAY) or sender.centre.date_at(sender.at)
    until = cells.day(row, LAST_DAY)
    kind, cohort = _role(row), _cohort(row, sender)
    person = _known(row, sender)
    if person is None:
        people.add_person(
            centre=sender.centre,
            name=cells.text(row, NAME),
            email=cells.text(row, EMAIL),
            kinds=[kind],
            cohort=cohort,
            password=None,
            by=sender.by,
            at=sender.at,
            on=on,
            until=until,
        )
        return True
    gets_role = _is_new_role(row, person, kind, on=on)
    if gets_role:
        people.grant_role(person=person, kind=kind, starts_on=on, ends_on=until, by=sender.by, at=sender.at)
    gets_place = cohort is not None and not Membership.objects.filter(person=person, cohort=cohort).exists()
    if cohort is not None and gets_place:
        cohorts.add_member(cohort=cohort, person=person, on=on, by=sender.by, at=sender.at)
    return gets_role or gets_place


def _known(row: Row, sender: Sender) -> Person | None:
    email = normal_email(cells.text(row, EMAIL))
    known = Person.objects.select_related("centre").filter(centre=sender.centre, email=email)
    person: Person | None = known.first()
    if person is not None:
        require_unchanged(email, {NAME: (person.name, cells.text(row, NAME))})
    return person


def _is_new_role(row: Row, person: Person, kind: Role.Kind, *, on: date) -> bool:
    """Whether a row gives a role anew. One that was ended stays so, unless a later first day is written."""
    held = Role.objects.filter(person=person, kind=kind)
    if not cells.text(row, FIRST_DAY):
        return not held.exists()
    return not held.exclude(ends_on__lt=on).exists()


def _role(row: Row) -> Role.Kind:
    typed = cells.text(row, ROLE).casefold()
    if not typed:
        return Role.Kind.CANDIDATE
    known = {
        spelling.casefold(): Role.Kind(value)
        for value, label in Role.Kind.choices
        for spelling in (value, label)
    }
    if typed not in known:
        listed = ", ".join(Role.Kind.labels)
        raise CellRefused(
            f"There is no role “{cells.text(row, ROLE)}”. The roles are: {listed}.", column=ROLE
        )
    return known[typed]


def _cohort(row: Row, sender: Sender) -> Cohort | None:
    typed = cells.text(row, COHORT)
    if not typed:
        return None
    open_ones = Cohort.objects.select_related("centre").filter(centre=sender.centre)
    found = next((each for each in open_ones if each.name.casefold() == typed.casefold()), None)
    if found is None:
        raise CellRefused(f"There is no cohort “{typed}”. Open it first.", column=COHORT)
    return found


ROSTER = Kind(
    slug="roster",
    title="A roster",
    permission=Permission.PEOPLE_MANAGE,
    columns=(
        Column(name=NAME, help="the person’s name or code", most=200),
        Column(name=EMAIL, help="where they sign in with; one person has one", most=254),
        Column(name=COHORT, help="the name of a cohort that is open", needed=False, most=120),
        Column(name=ROLE, help="candidate unless another is named", needed=False),
        Column(name=FIRST_DAY, help="year-month-day; today unless written", needed=False),
        Column(name=LAST_DAY, help="year-month-day; an external verifier needs one", needed=False),
    ),
    bring_in=bring_in,
    named_by=NAME,
    fields={
        "name": NAME,
        "email": EMAIL,
        "kinds": ROLE,
        "kind": ROLE,
        "cohort": COHORT,
        "ends_on": LAST_DAY,
        "starts_on": FIRST_DAY,
    },
)

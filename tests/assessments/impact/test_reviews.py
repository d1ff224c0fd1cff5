"""What a review finds, suspends and settles: a manometer reads 0.11 mbar low, found after 60 days."""

import json
from datetime import timedelta

import pytest

from academy import ledger
from academy.models import LedgerEntry, Role
from academy.refusals import Refused
from assessments import coverage, outcomes, progress, signoff
from assessments.impact import closing, marking_again, opening, resolving
from assessments.models import ImpactItem, Outcome, SignOff, Suspension
from assessments.models.attempts import Attempt
from assessments.models.decisions import Decision
from assessments.models.impact import Effect, ErrorModel, EvidenceKind, Resolution
from rigs import holds
from rigs.metrology.quantities import Quantity
from tests.factories import assessments as made
from tests.factories import impact as story
from tests.factories.academy import person_with

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench():
    return made.ready_bench()


def resolve(item, resolution, *, by, at, reason="Method right throughout; asked about it."):
    return resolving.resolve(item=item, resolution=resolution, reason=reason, by=by, at=at)


class TestWhatIsFound:
    def test_a_refusal_for_a_low_reading_would_have_been_competent(self, bench):
        # 1.58 mbar on the rig, and the display 0.11 low: read near the end of the time in doubt.
        signed = story.decided(bench, "1.47", at=story.on_day(bench, 58), decision=Decision.NOT_YET_COMPETENT)
        item = story.item_of(story.worked(bench), signed.attempt)

        assert item.effect == Effect.WOULD_BE
        assert {each.model: each.proposal for each in item.outcomes.all()} == {
            "full": "competent",
            "growth": "competent",
        }
        changes = item.outcomes.get(model=ErrorModel.FULL).changes
        assert [each["step"] for each in changes] == list(story.PRESSURES)
        assert {(each["read"], each["before"], each["after"]) for each in changes} == {
            ("1.47", "out-of-range", "in-range")
        }
        # 1.47 lies between 1.0 (−0.07) and 1.5 (−0.11) mbar: the error there is −0.1076.
        assert {each["corrected"] for each in changes} == {"1.578"}

    def test_a_pass_on_a_low_display_would_not_have_been_one_and_is_suspended(self, bench):
        signed = story.decided(bench, "1.58", at=story.on_day(bench, 58))
        item = story.item_of(story.worked(bench), signed.attempt)

        assert item.effect == Effect.WOULD_NOT
        assert Suspension.objects.get().sign_off == signed

    def test_right_after_the_last_good_evidence_only_the_error_in_full_changes_anything(self, bench):
        good_on = bench.at.date()
        told = opening.Told(good_on=good_on, evidence="Cross-check against MN-01: 1.50 read 1.50.")
        signed = story.decided(bench, "1.58", at=bench.at)
        review = story.worked(bench, story.opened(bench, told=told))
        item = story.item_of(review, signed.attempt)

        proposals = {each.model: each.proposal for each in item.outcomes.all()}
        assert proposals == {"full": "not-yet-competent", "growth": "competent"}
        assert review.evidence_kind == EvidenceKind.TOLD

    def test_a_step_changes_nothing_before_the_event_and_everything_after(self, bench):
        before = story.decided(bench, "1.58", at=story.on_day(bench, 20))
        after = story.decided(
            bench, "1.58", at=story.on_day(bench, 40), candidate=made.another_candidate(bench)
        )
        told = opening.Told(event_on=(bench.at + timedelta(days=30)).date(), event="Dropped")
        review = story.worked(bench, story.opened(bench, told=told))

        step = {
            signed: story.item_of(review, signed.attempt).outcomes.get(model=ErrorModel.STEP)
            for signed in (before, after)
        }
        assert step[before].proposal == "competent"
        assert step[before].inputs_sha256 == before.outcome.inputs_sha256
        assert step[after].proposal == "not-yet-competent"

    def test_a_reading_beyond_the_points_of_the_certificate_cannot_be_judged(self, bench):
        signed = story.decided(bench, "1.58", at=story.on_day(bench, 58))
        low = story.found_out(bench, lines=story.points({0.5: -0.001, 1.0: -0.002}))
        item = story.item_of(story.worked(bench, story.opened(bench, low)), signed.attempt)

        assert item.effect == Effect.CANNOT_JUDGE
        assert "Δp at the venturi taps, fan running" in item.unknown
        assert not Suspension.objects.exists()

    def test_an_error_that_makes_no_difference_leaves_the_attempt_unaffected(self, bench):
        signed = story.decided(bench, "1.58", at=story.on_day(bench, 58))
        little = story.found_out(bench, lines=story.points({0.5: -0.001, 2.0: -0.001}))
        item = story.item_of(story.worked(bench, story.opened(bench, little)), signed.attempt)

        assert item.effect == Effect.UNAFFECTED

    def test_nothing_old_is_altered_and_no_outcome_is_added_to_an_attempt(self, bench):
        signed = story.decided(bench, "1.58", at=story.on_day(bench, 58))
        was = [list(model.objects.order_by("pk").values()) for model in (Attempt, Outcome, SignOff)]
        story.worked(bench)

        assert was == [list(model.objects.order_by("pk").values()) for model in (Attempt, Outcome, SignOff)]
        assert outcomes.latest(signed.attempt) == signed.outcome


class TestTheWindow:
    def test_it_runs_from_the_certificate_before_to_the_end_of_the_day_of_this_one(self, bench):
        review = story.opened(bench)

        last = bench.instruments["manometer"].calibrations.order_by("calibrated_on").first()
        assert review.since.date() == last.calibrated_on
        assert last.certificate in review.evidence
        assert review.found_at.date() == (bench.at + story.FOUND_AFTER + timedelta(days=1)).date()

    def test_what_was_measured_after_the_finding_is_not_in_it(self, bench):
        calibration = story.found_out(bench)
        later = story.decided(bench, "1.58", at=story.on_day(bench, 62))
        review = opening.open_for_certificate(
            calibration=calibration, by=bench.technician, at=story.after(bench, 3)
        )

        assert not review.items.filter(attempt=later.attempt).exists()

    def test_a_certificate_recorded_late_begins_with_the_one_before_by_date(self, bench):
        story.rigs.certificate(
            of=bench.instruments["manometer"],
            by=bench.technician,
            on=(bench.at + timedelta(days=70)).date(),
            at=bench.at + timedelta(days=71),
        )
        review = story.opened(bench, story.found_out(bench, late_note="The laboratory’s post was slow."))

        first = bench.instruments["manometer"].calibrations.order_by("calibrated_on").first()
        assert first.certificate in review.evidence

    def test_with_no_attempt_in_it_it_opens_and_can_be_closed(self, bench):
        review = story.opened(bench)
        assert review.items.count() == 0

        done = marking_again.work_through(review=review, by=bench.technician, at=story.after(bench))
        assert done.is_done and done.listed == 0
        closed = closing.close(
            review=review, closure="Nothing was measured with it.", by=bench.manager, at=story.after(bench)
        )
        assert closed.closed_by == bench.manager

    def test_an_attempt_handed_in_meanwhile_is_picked_up(self, bench):
        attempt = made.started(bench, at=story.on_day(bench, 58))
        review = story.opened(bench)
        assert review.items.count() == 0
        last = made.work_through(attempt, story.reading("1.58"))
        made.attempts.hand_in(attempt=attempt, candidate=bench.candidate, at=last)

        review = story.worked(bench, review)

        assert story.item_of(review, attempt).effect == Effect.WOULD_NOT


class TestWhatAReferenceFed:
    def test_attempts_marked_from_checks_made_with_it_are_reached_and_marked_from_the_right_value(
        self, bench
    ):
        reference = story.references(bench)["manometer"]
        # The reference showed 1.58 of the rig's 1.69, and the candidate, with a right instrument, 1.69.
        signed = story.decided(bench, "1.69", at=story.on_day(bench, 58), decision=Decision.NOT_YET_COMPETENT)
        review = story.worked(bench, story.opened(bench, story.found_out(bench, of=reference)))
        item = story.item_of(review, signed.attempt)

        assert item.through == ["baseline 1 of VB-01", "checks of VB-01"]
        assert item.effect == Effect.WOULD_BE
        assert item.outcomes.get(model=ErrorModel.FULL).proposal == "competent"

    def test_after_a_late_good_look_only_checks_since_then_are_wrong(self, bench):
        reference = story.references(bench)["manometer"]
        early = story.decided(bench, "1.58", at=bench.at)
        late = story.decided(
            bench, "1.58", at=story.on_day(bench, 58), candidate=made.another_candidate(bench)
        )
        told = opening.Told(
            good_on=(bench.at + timedelta(days=30)).date(), evidence="Cross-check with a second reference."
        )
        review = story.opened(bench, story.found_out(bench, of=reference), told=told)

        assert set(review.items.values_list("attempt", flat=True)) == {late.attempt_id}
        assert early.attempt_id != late.attempt_id


class TestADriftedRig:
    def test_it_is_marked_from_its_level_as_later_checks_tell_it(self, bench):
        signed = story.decided(bench, "1.58", at=bench.at)
        for day, running in ((7, 1.55), (14, 1.48), (21, 1.40)):
            story.rigs.check(
                of=bench.rig,
                instruments=story.references(bench),
                by=bench.technician,
                at=bench.at + timedelta(days=day),
                running=running,
            )
        hold = made_hold(bench, at=bench.at + timedelta(days=21, hours=1))
        told = opening.Told(good_on=(bench.at - timedelta(days=1)).date(), evidence="Baseline approved.")
        review = opening.open_for_hold(
            hold=hold, by=bench.technician, at=bench.at + timedelta(days=22), told=told
        )
        marking_again.work_through(review=review, by=bench.technician, at=bench.at + timedelta(days=22))
        item = story.item_of(review, signed.attempt)

        (outcome,) = item.outcomes.all()
        assert outcome.model == ErrorModel.SMOOTHED
        assert outcome.inputs_sha256 != signed.outcome.inputs_sha256
        # 1.58 on the day that it really read that, whatever it read weeks later.
        assert (item.effect, outcome.proposal) == (Effect.UNAFFECTED, "competent")

    def test_it_begins_with_the_last_steady_check(self, bench):
        hold = made_hold(bench, at=bench.at + timedelta(days=1))
        review = opening.open_for_hold(hold=hold, by=bench.technician, at=bench.at + timedelta(days=2))

        assert review.evidence_kind == EvidenceKind.CHECK
        assert review.since == bench.rig.checks.get().made_at


def made_hold(bench, *, at):
    return holds.place(on=bench.rig, reason="Pressure 11 % low", by=bench.technician, at=at)


class TestSuspension:
    @pytest.fixture
    def signed(self, bench):
        return story.decided(bench, "1.58", at=story.on_day(bench, 58))

    def test_it_counts_nowhere_until_it_is_lifted(self, bench, signed):
        task = signed.attempt.version.task
        assert task.pk in progress.achieved_tasks(bench.candidate)
        review = story.worked(bench)

        assert task.pk not in progress.achieved_tasks(bench.candidate)
        standing = progress.standings_of([bench.candidate], [task])[bench.candidate.pk, task.pk]
        assert standing == (progress.Standing.SUSPENDED, 1)
        (decided,) = coverage.decided_attempts(Attempt.objects.all(), candidate=bench.candidate)
        assert decided.is_suspended and not decided.counts
        assert Attempt.objects.with_decision().get(pk=signed.attempt_id).decision == "suspended"

        resolve(review.items.get(), Resolution.UPHELD, by=bench.assessor, at=story.after(bench))

        assert task.pk in progress.achieved_tasks(bench.candidate)
        (decided,) = coverage.decided_attempts(Attempt.objects.all(), candidate=bench.candidate)
        assert decided.counts
        assert Attempt.objects.with_decision().get(pk=signed.attempt_id).decision == "competent"

    def test_a_new_attempt_that_was_asked_for_takes_its_place(self, bench, signed):
        review = story.worked(bench)
        resolve(review.items.get(), Resolution.REASSESS, by=bench.assessor, at=story.after(bench))
        task = signed.attempt.version.task
        assert task.pk not in progress.achieved_tasks(bench.candidate)

        again = story.decided(bench, "1.58", at=story.on_day(bench, 63))

        assert Suspension.objects.get().superseded_by == again
        assert task.pk in progress.achieved_tasks(bench.candidate)
        standing = progress.standings_of([bench.candidate], [task])[bench.candidate.pk, task.pk]
        assert standing == (progress.Standing.COMPETENT, 2)
        assert signoff.current(signed.attempt) == signed

    def test_one_that_was_begun_before_it_was_asked_for_does_not(self, bench, signed):
        story.decided(bench, "1.58", at=story.on_day(bench, 61))
        review = story.worked(bench)
        resolve(
            story.item_of(review, signed.attempt),
            Resolution.REASSESS,
            by=bench.assessor,
            at=story.after(bench, 3),
        )

        assert Suspension.objects.get().superseded_by is None


class TestResolving:
    @pytest.fixture
    def item(self, bench):
        signed = story.decided(bench, "1.58", at=story.on_day(bench, 58))
        return story.item_of(story.worked(bench), signed.attempt)

    def test_the_second_of_two_people_is_told_who_was_quicker(self, bench, item):
        resolve(item, Resolution.UPHELD, by=bench.assessor, at=story.after(bench))
        other = person_with(Role.Kind.ASSESSOR, by=bench.manager)

        with pytest.raises(Refused, match=f"{bench.assessor.name} has resolved this one already: upheld"):
            resolve(item, Resolution.REASSESS, by=other, at=story.after(bench))

    def test_it_takes_a_reason(self, bench, item):
        with pytest.raises(Refused, match="Say why") as refused:
            resolve(item, Resolution.UPHELD, by=bench.assessor, at=story.after(bench), reason="  ")
        assert refused.value.field == "reason"

    @pytest.mark.parametrize("who", ["manager", "technician", "candidate"])
    def test_only_an_assessor_resolves(self, bench, item, who):
        with pytest.raises(Refused):
            resolve(item, Resolution.UPHELD, by=getattr(bench, who), at=story.after(bench))

    def test_a_review_is_closed_when_everything_is_resolved_and_not_before(self, bench, item):
        review, at = item.review, story.after(bench)
        with pytest.raises(Refused, match="One attempt isn’t resolved yet"):
            closing.close(review=review, closure="Dropped.", by=bench.manager, at=at)
        resolve(item, Resolution.UPHELD, by=bench.assessor, at=at)
        with pytest.raises(Refused, match="Say what the cause was"):
            closing.close(review=review, closure=" ", by=bench.manager, at=at)
        with pytest.raises(Refused, match="Only a verifier or a manager"):
            closing.close(review=review, closure="Dropped.", by=bench.technician, at=at)

        closing.close(review=review, closure="Dropped.", by=bench.manager, at=at)

        with pytest.raises(Refused, match="closed this review already"):
            closing.close(review=review, closure="Dropped.", by=bench.manager, at=at)
        with pytest.raises(Refused, match="closed"):
            marking_again.work_through(review=review, by=bench.technician, at=at)

    def test_the_ledger_has_it_all_and_no_free_text(self, bench, item):
        resolve(item, Resolution.UPHELD, by=bench.assessor, at=story.after(bench))
        closing.close(review=item.review, closure="Dropped.", by=bench.manager, at=story.after(bench))

        entries = [json.loads(each.body) for each in LedgerEntry.objects.filter(centre=bench.centre)]
        verbs = [each["verb"] for each in entries if each["verb"].startswith("impact.")]
        assert sorted(verbs) == ["impact.close", "impact.mark", "impact.open", "impact.resolve"]
        assert "Dropped" not in json.dumps(entries)
        assert isinstance(ledger.verify(centre=bench.centre), ledger.Intact)


class TestOpening:
    def refused(self, bench, match, *, field=None, calibration=None, **given):
        with pytest.raises(Refused, match=match) as refused:
            story.opened(bench, calibration, **given)
        assert refused.value.field == field

    def test_once_for_a_certificate(self, bench):
        calibration = story.found_out(bench)
        story.opened(bench, calibration)
        self.refused(bench, "has its review already, number 1", calibration=calibration)

    def test_without_errors_as_found_it_says_what_to_do(self, bench):
        lines = [
            story.PointLine(
                quantity=Quantity.PRESSURE, unit="mbar", nominal=1.5, as_left_error=0.0, expanded_u=0.005
            )
        ]
        self.refused(bench, "point by point", calibration=story.found_out(bench, lines=lines))

    def test_points_of_another_quantity_are_refused(self, bench):
        with pytest.raises(Refused, match="MN-02 doesn’t measure a resistance"):
            opening.open_by_hand(
                thing=bench.instruments["manometer"],
                finding="Reads low",
                found_on=story.after(bench).date(),
                told=opening.NOTHING,
                errors=[opening.ErrorLine(unit="Ω", nominal=1.5, error=-0.1)],
                by=bench.manager,
                at=story.after(bench),
            )

    def test_the_first_certificate_needs_somebody_who_knows_since_when(self, bench):
        new = story.rigs.instrument(by=bench.technician, tag="MN-77", certified=False)
        calibration = story.found_out(bench, of=new)
        self.refused(bench, "give the day of the last good", field="good_on", calibration=calibration)

    @pytest.mark.parametrize(
        ("days", "field", "match"),
        [
            ({"good_on": 90}, "good_on", "from before the finding"),
            ({"good_on": 1}, "evidence", "Say what showed"),
            ({"event_on": -60, "event": "Dropped"}, "event_on", "between the last good evidence"),
            ({"event_on": 10}, "event", "Say what happened"),
            ({"event": "Dropped"}, "event_on", "Give the day"),
        ],
    )
    def test_what_is_told_must_fit(self, bench, days, field, match):
        given = {
            name: (bench.at + timedelta(days=value)).date() if isinstance(value, int) else value
            for name, value in days.items()
        }
        self.refused(bench, match, field=field, told=opening.Told(**given))

    def test_an_assessor_does_not_open_one(self, bench):
        with pytest.raises(Refused, match="Only a manager or a technician"):
            opening.open_for_certificate(
                calibration=story.found_out(bench), by=bench.assessor, at=story.after(bench)
            )


class TestBatches:
    def test_an_interrupted_review_goes_on_where_it_stopped(self, bench):
        at = story.on_day(bench, 58)
        for _ in range(3):
            made.handed_in(bench, story.reading("1.58"), candidate=made.another_candidate(bench), at=at)
        review, by = story.opened(bench), bench.technician

        first = marking_again.work_through(review=review, by=by, at=story.after(bench), batch=2)
        assert (first.marked, first.listed) == (2, 3)
        second = marking_again.work_through(review=review, by=by, at=story.after(bench), batch=2)

        assert second.is_done
        assert ImpactItem.objects.filter(effect=Effect.WOULD_NOT).count() == 3

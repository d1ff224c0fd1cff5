"""The demo as it is loaded: once for all of these, at an awkward moment."""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.apps import apps
from django.conf import settings
from django.db import transaction
from django.test import Client

from academy import ledger
from academy.models import Centre, LedgerEntry, Person, Role
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from assessments import attempts, flags, outcomes
from assessments.demo import loading, scenario
from assessments.demo.timetable import DAY, Timetable
from assessments.impact import marking_again
from assessments.marking.plausibility import FlagKind
from assessments.models import Attempt, ImpactReview, Photo, SignOff, Task
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.decisions import Decision, Proposal
from assessments.models.impact import Effect
from rigs import holds, instruments
from rigs.models import Baseline, BaselineValue, Check, FaultSetting, Instrument, Rig, Session
from rigs.models.baselines import BaselineStatus
from rigs.models.checks import CheckVerdict

FIXTURES = settings.ROOT / "fixtures"
# Sunday, the clocks went forward in the night, and the afternoon began ten seconds ago.
NOW = datetime(2026, 3, 29, 12, 0, 10, tzinfo=UTC)
PLAN = scenario.read(FIXTURES / "demo.json")
TIMETABLE = Timetable(now=NOW, zone=ZoneInfo(PLAN.time_zone))
CHARACTERISED = {rig.tag for rig in PLAN.rigs if rig.is_characterised}
HELD = {"VB-03"}  # its venturi blocked

pytestmark = [pytest.mark.usefixtures("loaded"), pytest.mark.django_db]


@pytest.fixture(scope="module")
def loaded(django_db_setup: None, django_db_blocker) -> Iterator[None]:
    with django_db_blocker.unblock(), transaction.atomic():
        assert loading.load(scenario=PLAN, fixtures=FIXTURES, at=NOW, tell=str)
        yield
        transaction.set_rollback(True)


def person(name: str) -> Person:
    return Person.objects.get(email=PLAN.email(name))


def attempts_of(name: str, task: str = "two-terminal-switch-test") -> list[Attempt]:
    found = Attempt.objects.filter(candidate=person(name), version__task__slug=task)
    return list(found.order_by("started_at"))


def decision_on(attempt: Attempt) -> SignOff:
    return attempt.sign_offs.get()


def counts() -> dict[str, int]:
    return {model._meta.label: model._base_manager.count() for model in apps.get_models()}


def test_loading_again_changes_nothing() -> None:
    before = counts()
    assert not loading.load(scenario=PLAN, fixtures=FIXTURES, at=NOW, tell=str)
    assert counts() == before


def test_loading_again_in_another_half_day_adds_its_session_and_nothing_else() -> None:
    before = counts()
    later = datetime(2026, 3, 30, 8, 40, tzinfo=UTC)
    assert loading.load(scenario=PLAN, fixtures=FIXTURES, at=later, tell=str)
    grown = {label: after - before[label] for label, after in counts().items() if after != before[label]}
    assert grown["rigs.Session"] == 1
    assert grown["rigs.Check"] == len(CHARACTERISED - HELD)
    assert not {label for label in grown if label.startswith("assessments.")}


def test_the_ledger_verifies_and_its_times_never_go_back() -> None:
    centre = Centre.objects.get(name=PLAN.centre)
    assert isinstance(ledger.verify(centre=centre), ledger.Intact)
    times = list(LedgerEntry.objects.filter(centre=centre).order_by("number").values_list("at", flat=True))
    assert times == sorted(times)
    assert times[-1] <= NOW


def test_nothing_lies_in_the_future() -> None:
    assert not Attempt.objects.filter(started_at__gt=NOW).exists()
    assert not SignOff.objects.filter(at__gt=NOW).exists()
    assert not Check.objects.filter(made_at__gt=NOW).exists()


def test_every_role_has_a_sign_in_with_the_one_password() -> None:
    listed = [person(each.person) for each in PLAN.sign_ins]
    held = Role.objects.in_force(on=NOW.date()).filter(person__in=listed)
    assert set(held.values_list("kind", flat=True)) == set(Role.Kind)
    for each in listed:
        assert (
            Client().post("/sign-in/", {"username": each.email, "password": PLAN.password}).status_code == 302
        )


def test_nobody_can_be_reached_outside() -> None:
    # RFC 2606 keeps .example free of real hosts.
    assert all(each.email.endswith(".example") for each in Person.objects.all())


def test_no_session_but_today_s_is_on_a_weekend() -> None:
    days = {each.on for each in Session.objects.all()}
    assert {day for day in days if day.weekday() > 4} == {NOW.date()}
    assert len(days) > 8 * 5


def checks_of(tag: str) -> list[Check]:
    return list(Check.objects.filter(rig__tag=tag).order_by("made_at"))


def verdicts_of(tag: str) -> list[str]:
    return [each.verdict for each in checks_of(tag)]


@pytest.mark.parametrize(
    ("tag", "least"), [("VB-01", 40), ("VB-02", 40), ("VB-05", 24), ("VB-06", 24), ("EL-01", 8)]
)
def test_eight_weeks_of_checks_find_a_rig_steady_that_nothing_ails(tag, least) -> None:
    found = verdicts_of(tag)
    assert len(found) >= least and set(found) == {CheckVerdict.STEADY}


def test_a_slowly_blocking_venturi_is_watched_for_weeks_and_then_taken_out_of_use() -> None:
    found = verdicts_of("VB-03")
    watched = found.count(CheckVerdict.WATCH)
    steady = len(found) - watched - 1
    assert found == [*[CheckVerdict.STEADY] * steady, *[CheckVerdict.WATCH] * watched, CheckVerdict.HOLD]
    assert steady >= 9 and watched >= 3
    last, (hold,) = checks_of("VB-03")[-1], Rig.objects.get(tag="VB-03").holds.open()
    assert hold.placed_by == last.made_by and 0 < (hold.placed_at - last.made_at).total_seconds() < 600
    assert last.words and all(words in hold.reason for words in last.words)


def test_a_step_is_watched_from_the_first_check_after_it_on_and_never_before() -> None:
    assert PLAN.rig("VB-04").slowing is not None
    found = verdicts_of("VB-04")
    steady = found.count(CheckVerdict.STEADY)
    assert found == [*[CheckVerdict.STEADY] * steady, *[CheckVerdict.WATCH] * (len(found) - steady)]
    first = checks_of("VB-04")[steady]
    monday = TIMETABLE.monday(week=PLAN.rig("VB-04").slowing.week)
    assert monday < first.made_at.date() <= monday + 2 * DAY


def test_a_noisy_rig_shows_in_its_baseline_and_its_candidates_get_room_for_it() -> None:
    sd = {
        tag: BaselineValue.objects.get(
            baseline__rig__tag=tag,
            measurand__test_point__slug="taps",
            measurand__condition__slug="fan-running",
        ).repeat_sd
        for tag in ("VB-01", "VB-05")
    }
    assert sd["VB-05"] > 1.5 * sd["VB-01"]


def test_attempts_are_spread_over_the_weeks_and_over_every_switch_rig() -> None:
    weeks = Counter((each.started_at.date() - TIMETABLE.today).days // 7 for each in Attempt.objects.all())
    assert all(weeks[week] >= 3 for week in range(-8, -1))
    used = Counter(Attempt.objects.values_list("rig__tag", flat=True))
    assert all(used[f"VB-0{number}"] >= 4 for number in range(1, 7))


def test_every_baseline_is_long_enough_and_approved_by_a_second_person() -> None:
    for baseline in Baseline.objects.all():
        assert baseline.status == BaselineStatus.APPROVED
        assert baseline.decided_by != baseline.made_by
        assert {value.repeats for value in baseline.values.all()} == {10}
        assert {value.days for value in baseline.values.all()} == {3}


def test_decisions_are_what_the_marking_proposed_unless_it_left_them_open() -> None:
    signed = SignOff.objects.select_related("outcome").prefetch_related("judgements")
    proposed = [each for each in signed if each.outcome.proposal != Proposal.ASSESSOR]
    followed = [each for each in proposed if each.decision == each.outcome.proposal]
    assert len(followed) > 20
    assert all(each.reason for each in proposed if each not in followed)
    left_open = [each for each in signed if each.outcome.proposal == Proposal.ASSESSOR]
    assert left_open
    assert all(each.reason or each.judgements.exists() for each in left_open)


def test_decisions_are_spread_as_at_a_working_centre() -> None:
    found = Counter(SignOff.objects.values_list("decision", flat=True))
    share = found[Decision.NOT_YET_COMPETENT] / found.total()
    assert 0.1 < share < 0.3
    states = Counter(Attempt.objects.values_list("status", flat=True))
    assert states[AttemptStatus.SUBMITTED] == 6
    assert states[AttemptStatus.OPEN] == 1


def test_a_missed_second_proof_is_not_yet_competent_and_passed_later() -> None:
    first, second = attempts_of("C-02", "safe-isolation")
    assert [each.step for each in outcomes.marking_of(outcomes.latest(first)).procedure.findings] == [
        "prove-after"
    ]
    assert decision_on(first).decision == Decision.NOT_YET_COMPETENT
    assert decision_on(second).decision == Decision.COMPETENT


def test_a_proof_that_came_too_late_is_told_from_one_that_is_missing() -> None:
    (attempt,) = attempts_of("C-24", "safe-isolation")
    (finding,) = outcomes.marking_of(outcomes.latest(attempt)).procedure.findings
    assert finding.breach and finding.sentence.startswith("Logged after")


def test_pascals_written_as_millibars_stand_a_hundred_times_too_high() -> None:
    (attempt,) = attempts_of("C-09")
    reading = attempt.readings.get(step__slug="ports-running")
    assert reading.unit == "mbar" and 140 < reading.value < 180
    assert decision_on(attempt).decision == Decision.NOT_YET_COMPETENT


def test_one_borderline_reading_alone_is_decided_by_the_assessor() -> None:
    (attempt,) = attempts_of("C-06")
    marking = outcomes.marking_of(outcomes.latest(attempt))
    assert marking.lone_borderline
    assert decision_on(attempt).decision == Decision.COMPETENT


def test_an_instrument_that_went_out_costs_a_refusal_and_is_on_hold_since() -> None:
    first, second = attempts_of("C-04")
    assert first.instruments.get(kind="manometer").instrument.tag == "MN-04"
    assert decision_on(first).decision == Decision.NOT_YET_COMPETENT
    assert decision_on(second).decision == Decision.COMPETENT
    assert Instrument.objects.get(tag="MN-04").holds.open().exists()


def test_what_it_did_waits_to_be_worked_through_and_speaks_for_the_one_who_was_refused() -> None:
    review = ImpactReview.objects.get()
    assert (review.tag, review.marked_at) == ("MN-04", None)
    assert marking_again.work_through(review=review, by=person("T-1"), at=NOW).is_done
    effects = {item.attempt.candidate.name: item.effect for item in review.items.all()}
    assert effects == {"C-02": Effect.UNAFFECTED, "C-06": Effect.UNAFFECTED, "C-04": Effect.WOULD_BE}


def test_a_broken_lead_condemns_the_switch_when_leads_were_not_put_together() -> None:
    first, _second = attempts_of("C-05")
    conclusion = first.records.get(step__slug="conclusion")
    assert conclusion.answer == "faulty"
    assert outcomes.latest(first).conclusion == "not-met"


def test_a_fault_that_was_set_is_found_and_taken_off_again() -> None:
    (assessed,) = attempts_of("C-08")
    (practised,) = attempts_of("C-24")
    assert assessed.fault and assessed.fault.fault.slug == "contact-high-resistance"
    assert assessed.records.get(step__slug="conclusion").answer == "faulty"
    assert practised.purpose == Purpose.PRACTICE
    assert practised.records.get(step__slug="conclusion").answer == "elsewhere"
    assert not FaultSetting.objects.open().exists()


def test_a_correction_leaves_the_struck_out_reading_and_its_reason() -> None:
    (attempt,) = attempts_of("C-03")
    struck, kept = attempt.readings.filter(step__slug="taps-running").order_by("sequence")
    assert kept.supersedes == struck and kept.reason
    assert struck.text == "1.27"
    assert outcomes.latest(attempt).readings == "met"


def test_one_candidate_is_half_way_through_the_switch_test_today() -> None:
    (attempt,) = attempts_of("C-12")
    assert attempt.status == AttemptStatus.OPEN
    logged = attempt.readings.count() + attempt.records.count() + attempt.photos.count()
    assert 10 < logged < attempt.version.steps.count()


def test_photos_show_the_rig_and_but_for_one_no_two_attempts_share_one() -> None:
    digests = list(Photo.objects.values_list("sha256", flat=True))
    # But for the one that C-23 sends in as theirs.
    assert len(digests) - 1 == len(set(digests)) > 30


def test_a_candidate_can_start_an_assessment_now() -> None:
    version = Task.objects.get(slug="two-terminal-switch-test").versions.in_force().get()
    for tag in ("VB-01", "VB-02"):
        rig = Rig.objects.get(tag=tag)
        why = attempts.why_not_assessed(candidate=person("C-22"), version=version, rig=rig, at=NOW)
        assert why == []


@pytest.mark.parametrize(
    ("manometer", "multimeter", "why"),
    [
        ("MN-05", "DM-02", "isn't suitable"),
        ("MN-04", "DM-02", "on hold"),
        ("MN-01", "DM-02", "reference instrument"),
        ("MN-02", "DM-04", "overdue"),
    ],
)
def test_an_instrument_that_must_not_be_used_is_refused(manometer, multimeter, why) -> None:
    tags = (manometer, multimeter, "VI-01")
    chosen = {
        each.model.kind: each for each in Instrument.objects.filter(tag__in=tags).select_related("model")
    }
    with pytest.raises(Refused, match=why):
        attempts.start(
            id=uuid4(),
            candidate=person("C-22"),
            version=Task.objects.get(slug="two-terminal-switch-test").versions.in_force().get(),
            rig=Rig.objects.get(tag="VB-01"),
            purpose=Purpose.ASSESSMENT,
            chosen=chosen,
            cautions_read=True,
            at=NOW,
        )


def test_a_multimeter_is_due_soon_and_another_is_overdue() -> None:
    due = dict(Instrument.objects.with_state().values_list("tag", "due_on"))
    assert 0 < (due["DM-03"] - NOW.date()).days < 30
    assert due["DM-04"] < NOW.date()
    dm_04 = Instrument.objects.get(tag="DM-04")
    assert instruments.calibration_in_force(instrument=dm_04, on=NOW.date()) is None


def test_marking_again_from_the_record_gives_the_same() -> None:
    for attempt in Attempt.objects.exclude(status=AttemptStatus.OPEN):
        assert outcomes.compare(attempt=attempt).same


def test_assessors_are_allowed_what_they_did_on_the_day_they_did_it() -> None:
    for signed in SignOff.objects.select_related("assessor"):
        assert Permission.ATTEMPT_DECIDE in permissions_of(signed.assessor, on=signed.at.date())


def test_a_rig_on_hold_is_not_checked_for_today() -> None:
    rig, technician = Rig.objects.get(tag="VB-06"), person("T-1")
    holds.place(on=rig, reason="Watch for too long.", by=technician, at=NOW)
    later = datetime(2026, 3, 30, 8, 40, tzinfo=UTC)
    loading.load(scenario=PLAN, fixtures=FIXTURES, at=later, tell=str)
    checked = set(Check.objects.filter(made_at__gt=NOW).values_list("rig__tag", flat=True))
    assert checked == CHARACTERISED - HELD - {"VB-06"}


def flagged(name: str, task: str = "two-terminal-switch-test") -> set[str]:
    """What is pointed out on somebody's last attempt at a task."""
    return {str(flag.kind) for flag in flags.of_attempt(attempts_of(name, task)[-1])}


def test_there_is_one_of_each_thing_to_ask_about_among_those_that_wait():
    waiting = Attempt.objects.filter(status=AttemptStatus.SUBMITTED).values_list("pk", flat=True)
    raised = {flag.kind for found in flags.of_attempts(list(waiting)).values() for flag in found}

    assert raised == set(FlagKind)


def test_the_copied_pair_is_pointed_out_on_both_and_the_copy_for_its_pace_too():
    assert FlagKind.SAME_READINGS in flagged("C-07", "make-and-break")
    assert {FlagKind.SAME_READINGS, FlagKind.HURRIED_STEPS, FlagKind.HURRIED_ATTEMPT} <= flagged(
        "C-11", "make-and-break"
    )


def test_careful_work_is_pointed_out_for_nothing():
    for name in ("C-01", "C-02", "C-03", "C-05", "C-06", "C-10"):
        assert flagged(name) == set()

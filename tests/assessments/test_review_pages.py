"""The assessor's pages, and what the candidate sees after sign-off."""

import re
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from assessments import disclosure, outcomes
from assessments.models import Attempt, Reading, SignOff
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.decisions import Decision
from rigs.models import Instrument
from tests.factories import assessments as made
from tests.factories.academy import VerifierFactory, person_with

pytestmark = pytest.mark.django_db

NOW = made.AT + timedelta(hours=3)
MISSED = made.Work(skipped=frozenset({"prove-after"}))
FEEDBACK = "Clear log. Next time prove the indicator again at once."


@pytest.fixture(autouse=True)
def now(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)


def as_(person):
    client = Client()
    client.force_login(person)
    return client


def decide(bench, attempt, *, by=None, **changes):
    outcome = outcomes.latest(attempt)
    data = {"decision": "competent", "feedback": FEEDBACK, "reason": "", "outcome": str(outcome.pk)}
    return as_(by or bench.assessor).post(reverse("review-detail", args=[attempt.pk]), data | changes)


class TestTheList:
    def test_it_lists_what_waits_with_the_proposal(self, bench):
        made.handed_in(bench)

        page = as_(bench.assessor).get(reverse("review-list")).content.decode()

        assert bench.candidate.name in page
        assert "Competent" in page

    def test_an_open_attempt_is_not_on_it_and_has_no_review_page(self, bench):
        attempt = made.started(bench)
        assessor = as_(bench.assessor)

        assert "No attempt is waiting." in assessor.get(reverse("review-list")).content.decode()
        assert assessor.get(reverse("review-detail", args=[attempt.pk])).status_code == 404

    def test_practice_comes_after_assessments(self, bench):
        practice = made.handed_in(bench, purpose=Purpose.PRACTICE)
        other = made.handed_in(bench, candidate=made.another_candidate(bench))

        listed = list(Attempt.objects.awaiting(bench.assessor))

        assert listed == [other, practice]

    def test_another_centres_attempt_is_not_there(self, bench):
        attempt = made.handed_in(bench)
        stranger = person_with("assessor", by=made.rigs.ManagerFactory())

        assert as_(stranger).get(reverse("review-detail", args=[attempt.pk])).status_code == 404


class TestThePage:
    def test_it_shows_ranges_readings_working_and_the_proposal(self, bench):
        attempt = made.handed_in(bench)

        page = as_(bench.assessor).get(reverse("review-detail", args=[attempt.pk])).content.decode()

        assert "Within what this rig reads today" in page
        assert "Welch" in page
        assert "<svg" in page

    def test_a_missing_safety_critical_step_is_named_with_its_reason(self, bench):
        attempt = made.handed_in(bench, MISSED)

        page = as_(bench.assessor).get(reverse("review-detail", args=[attempt.pk])).content.decode()

        assert "Prove the voltage indicator again: Not logged. It may have failed" in page
        assert "Not yet competent" in page

    def test_a_corrected_reading_shows_what_was_struck_out_and_why(self, bench):
        attempt = made.handed_in(bench, made.Work(struck={"ports-running": "5.18"}))

        page = as_(bench.assessor).get(reverse("review-detail", args=[attempt.pk])).content.decode()

        assert re.search(r"<del>.*5\.18.*</del>.*Read the display wrong", page)

    def test_whoever_looks_has_seen_the_rigs_ranges(self, bench):
        attempt = made.handed_in(bench)

        as_(bench.assessor).get(reverse("review-detail", args=[attempt.pk]))

        assert disclosure.has_seen(person=bench.assessor, rig=bench.rig)


class TestDeciding:
    def test_a_decision_is_kept_with_its_feedback_and_leads_to_the_next_one(self, bench):
        first = made.handed_in(bench)
        second = made.handed_in(
            bench, candidate=made.another_candidate(bench), at=made.AT + timedelta(minutes=30)
        )

        response = decide(bench, first)

        assert response.url == reverse("review-detail", args=[second.pk])
        signed = SignOff.objects.get()
        assert (signed.decision, signed.feedback, signed.assessor) == ("competent", FEEDBACK, bench.assessor)
        assert Attempt.objects.get(pk=first.pk).status == AttemptStatus.SIGNED_OFF

    @pytest.mark.parametrize(
        ("changes", "message"),
        [({"feedback": "  "}, "Write feedback"), ({"decision": ""}, "Decide first.")],
    )
    def test_what_is_missing_is_said_beside_the_field_and_the_rest_is_kept(self, bench, changes, message):
        attempt = made.handed_in(bench)

        page = decide(bench, attempt, **changes).content.decode()

        assert message in page
        assert not SignOff.objects.exists()
        assert FEEDBACK in page or "feedback" in changes

    def test_deciding_against_the_proposal_needs_a_reason(self, bench):
        attempt = made.handed_in(bench, MISSED)

        assert "This is not what the marking proposes: say why." in decide(bench, attempt).content.decode()
        assert decide(bench, attempt, reason="Seen proving it; not logged.").status_code == 302

    def test_nobody_signs_off_their_own_attempt(self, bench):
        both = person_with("assessor", by=bench.manager)
        attempt = made.handed_in(bench)
        Attempt.objects.filter(pk=attempt.pk).update(candidate=both)

        page = as_(both).get(reverse("review-detail", args=[attempt.pk])).content.decode()
        refused = decide(bench, attempt, by=both).content.decode()

        assert "Nobody signs off their own attempt." in page
        assert 'name="decision"' not in page
        assert "Nobody signs off their own attempt." in refused
        assert not SignOff.objects.exists()

    @pytest.mark.parametrize("kind", ["verifier", "manager"])
    def test_those_who_only_read_have_no_form_and_cannot_decide(self, bench, kind):
        reader = VerifierFactory(by=bench.manager) if kind == "verifier" else bench.manager
        attempt = made.handed_in(bench)

        assert (
            'name="decision"'
            not in as_(reader).get(reverse("review-detail", args=[attempt.pk])).content.decode()
        )
        assert decide(bench, attempt, by=reader).status_code == 403

    def test_a_decision_is_made_once(self, bench):
        attempt = made.handed_in(bench)
        decide(bench, attempt)

        page = decide(bench, attempt, decision="not-yet-competent", reason="Changed my mind").content.decode()

        assert "signed off already" in page
        assert SignOff.objects.get().decision == Decision.COMPETENT

    def test_a_marking_that_was_replaced_meanwhile_must_be_looked_at_first(self, bench):
        attempt = made.handed_in(bench)
        seen = outcomes.latest(attempt)
        outcomes.mark_attempt(attempt=attempt, at=NOW)

        page = decide(bench, attempt, outcome=str(seen.pk)).content.decode()

        assert "marked again since you opened it" in page


class TestTheResult:
    def test_before_sign_off_there_is_none(self, bench):
        attempt = made.handed_in(bench)

        response = as_(bench.candidate).get(reverse("attempt-result", args=[attempt.pk]))

        assert response.url == reverse("attempt-overview", args=[attempt.pk])

    def test_while_the_cohort_still_has_the_task_before_it_verdicts_are_words_alone(self, bench):
        other = made.another_candidate(bench)
        made.progress.plan(
            cohort=bench.cohort, task=bench.tasks[made.SWITCH_TEST].task, by=bench.manager, at=NOW
        )
        signed = made.signed_off(bench)

        page = as_(bench.candidate).get(reverse("attempt-result", args=[signed.attempt.pk])).content.decode()

        assert other != bench.candidate
        assert signed.feedback in page
        assert "Within what this rig reads today" in page
        assert " against " not in page
        assert "strip-band" not in page
        assert not disclosure.has_seen(person=bench.candidate, rig=bench.rig)

    def test_when_nothing_is_planned_on_the_rig_the_numbers_are_there_and_their_sight_is_remembered(
        self, bench
    ):
        signed = made.signed_off(bench)

        page = as_(bench.candidate).get(reverse("attempt-result", args=[signed.attempt.pk])).content.decode()

        assert " against " in page
        assert disclosure.has_seen(person=bench.candidate, rig=bench.rig)

    def test_whoever_has_seen_a_rigs_ranges_is_not_assessed_on_it(self, bench):
        disclosure.note_seen(person=bench.candidate, rig=bench.rig, at=NOW)
        address = reverse("attempt-start", args=[bench.rig.pk, bench.tasks[made.SWITCH_TEST].pk])

        page = as_(bench.candidate).get(address).content.decode()

        assert "You have seen what VB-01 reads" in page

    def test_practice_never_shows_numbers(self, bench):
        signed = made.signed_off(bench, purpose=Purpose.PRACTICE)

        page = as_(bench.candidate).get(reverse("attempt-result", args=[signed.attempt.pk])).content.decode()

        assert " against " not in page


class TestMarkingAgain:
    def remark(self, attempt):
        out = StringIO()
        call_command("remark", str(attempt), stdout=out)
        return out.getvalue()

    def test_the_same_record_gives_the_same_outcome(self, bench):
        attempt = made.handed_in(bench)

        said = self.remark(attempt.pk)

        assert said.startswith("Same outcome: competent")
        assert outcomes.latest(attempt).inputs_sha256 in said

    def test_later_work_on_the_rig_changes_nothing(self, bench):
        attempt = made.handed_in(bench)
        made.rigs.check(
            of=bench.rig,
            instruments={each.model.kind: each for each in Instrument.objects.filter(is_reference=True)},
            by=bench.technician,
            at=NOW,
            running=1.7,
        )

        assert self.remark(attempt.pk).startswith("Same outcome")

    def test_a_record_that_was_tampered_with_is_told_exactly(self, bench):
        attempt = made.handed_in(bench)
        Reading.objects.filter(attempt=attempt, step__slug="ports-running").update(
            text="1.10", si_value=110.0
        )

        with pytest.raises(CommandError) as raised:
            self.remark(attempt.pk)

        assert "differs from a marking made now" in str(raised.value)
        difference = outcomes.compare(attempt=attempt)
        assert any(line.endswith("text: was '1.58', is '1.10'") for line in difference.inputs)
        assert any("verdict: was 'in-range', is 'out-of-range'" in line for line in difference.result)

    @pytest.mark.parametrize("text", ["nonsense", "00000000-0000-4000-8000-000000000000"])
    def test_an_attempt_that_does_not_exist_is_one_clear_line(self, text):
        with pytest.raises(CommandError, match="There is no attempt"):
            self.remark(text)

    def test_an_open_attempt_was_never_marked(self, bench):
        with pytest.raises(CommandError, match="never marked"):
            self.remark(made.started(bench).pk)

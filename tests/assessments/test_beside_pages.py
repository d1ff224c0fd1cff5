"""Pages of what stands beside decisions: returns, void, prompts, countersignatures, appeals, rules."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from academy.notices import notices_for
from assessments.models import (
    Adjustment,
    Appeal,
    AssessorScope,
    AttemptVoid,
    ConflictOfInterest,
    Prompt,
    ResitRule,
)
from assessments.models.attempts import AttemptStatus
from assessments.models.decisions import Decision
from tests.factories import assessments as made
from tests.factories import rights as beside
from tests.factories.academy import DAY, VerifierFactory, in_a_sitting
from tests.factories.assessments import SWITCH_TEST

pytestmark = pytest.mark.django_db

NOW = made.AT + timedelta(hours=2)


@pytest.fixture(autouse=True)
def now(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)


def as_(person):
    return in_a_sitting(person, at=NOW)


def text(response):
    assert response.status_code == 200
    return response.content.decode()


def page(person, name, *args):
    return text(as_(person).get(reverse(name, args=args)))


def told(person):
    return [notice.text for notice in notices_for(person=person, at=NOW)]


@pytest.fixture
def attempt(bench):
    return made.handed_in(bench)


class TestReturning:
    def test_the_assessor_returns_it_and_the_candidate_sees_it_first(self, bench, attempt):
        step = beside.reading_step(attempt)
        address = reverse("attempt-return", args=[attempt.pk])
        response = as_(bench.assessor).post(address, {"steps": [step.pk], "words": "Let it settle first."})
        assert response.url == reverse("review-list")
        home = page(bench.candidate, "bench-home")
        assert home.index("Read once more") < home.index("Pick a rig")
        assert "Let it settle first." in home
        assert f"Returned for one more reading: {attempt}" in told(bench.candidate)

    def test_the_candidate_reads_again_without_being_asked_why(self, bench, attempt):
        step = beside.reading_step(attempt)
        before = attempt.readings.get(step=step)
        beside.given_back(bench, attempt)
        candidate = as_(bench.candidate)
        address = reverse("attempt-step", args=[attempt.pk, step.position])
        asked = text(candidate.get(address))
        assert "Once more" in asked
        assert "Why is it corrected?" not in asked
        sent = {"id": str(uuid4()), "text": before.text, "unit": before.unit, "qualifier": ""}
        assert candidate.post(address, sent).url == reverse("attempt-overview", args=[attempt.pk])
        overview = text(candidate.get(reverse("attempt-overview", args=[attempt.pk])))
        assert "Hand it in again" in overview
        candidate.post(reverse("attempt-hand-in", args=[attempt.pk]))
        attempt.refresh_from_db()
        assert attempt.status == AttemptStatus.SUBMITTED
        assert attempt.outcomes.count() == 2

    def test_the_other_steps_are_closed(self, bench, attempt):
        beside.given_back(bench, attempt)
        response = as_(bench.candidate).get(reverse("attempt-step", args=[attempt.pk, 1]))
        assert response.url == reverse("attempt-overview", args=[attempt.pk])

    def test_without_a_step_nothing_is_returned_and_what_was_written_stays(self, bench, attempt):
        address = reverse("attempt-return", args=[attempt.pk])
        shown = text(as_(bench.assessor).post(address, {"words": "Let it settle first."}))
        assert "Choose the step to read again." in shown
        assert "Let it settle first." in shown

    def test_the_review_page_tells_of_it(self, bench, attempt):
        beside.given_back(bench, attempt, words="Let it settle first.")
        shown = page(bench.assessor, "review-detail", attempt.pk)
        assert "Let it settle first." in shown
        assert "Not handed in again yet." in shown


class TestVoid:
    def test_it_is_made_void_and_the_rig_put_on_hold(self, bench, attempt):
        sent = {
            "cause": "rig",
            "reason": "Hose split at the tap.",
            "words": "Not your doing.",
            "hold": bench.rig.pk,
        }
        as_(bench.assessor).post(reverse("attempt-void", args=[attempt.pk]), sent)
        assert AttemptVoid.objects.get().hold == bench.rig.holds.open().get()
        overview = page(bench.candidate, "attempt-overview", attempt.pk)
        assert "doesn’t count" in overview
        assert "Not your doing." in overview
        assert "Hose split" not in overview
        assert "Not your doing." in page(bench.candidate, "bench-home")
        assert "Hose split at the tap." in page(bench.assessor, "review-detail", attempt.pk)

    def test_one_that_was_open_reads_like_any_other(self, bench):
        attempt = made.started(bench)
        sent = {"cause": "emergency", "reason": "Fire alarm.", "words": "The room was cleared.", "hold": ""}
        as_(bench.assessor).post(reverse("attempt-void", args=[attempt.pk]), sent)
        assert "Fire alarm." in page(bench.assessor, "review-detail", attempt.pk)
        assert "The room was cleared." in page(bench.candidate, "attempt-overview", attempt.pk)
        assert f"Void, it doesn’t count: {attempt}" in told(bench.candidate)

    def test_somebody_elses_instrument_cant_be_named(self, bench, attempt):
        sent = {"cause": "rig", "reason": "x", "words": "y", "hold": uuid4()}
        assert "Select a valid choice" in text(
            as_(bench.assessor).post(reverse("attempt-void", args=[attempt.pk]), sent)
        )


class TestPrompts:
    def test_one_is_noted_and_listed(self, bench, attempt):
        address = reverse("prompt-give", args=[attempt.pk])
        as_(bench.assessor).post(address, {"level": 3, "words": "Zero first.", "step": ""})
        assert Prompt.objects.get().level == 3
        assert "Zero first." in page(bench.assessor, "review-detail", attempt.pk)

    def test_the_candidate_never_sees_it(self, bench, attempt):
        beside.prompted(bench, attempt, 4)
        for name in ("attempt-overview",):
            assert "Look at the zero again." not in page(bench.candidate, name, attempt.pk)


class TestCountersigning:
    @pytest.fixture
    def provisional(self, bench, attempt):
        return beside.decided(attempt, by=beside.assessor_in_training(bench))

    def test_the_candidate_sees_it_as_handed_in(self, bench, attempt, provisional):
        overview = page(bench.candidate, "attempt-overview", attempt.pk)
        assert "Your assessor will look at it" in overview
        assert "Awaiting" not in overview
        result = as_(bench.candidate).get(reverse("attempt-result", args=[attempt.pk]))
        assert result.url == reverse("attempt-overview", args=[attempt.pk])
        assert not [said for said in told(bench.candidate) if "result" in said]

    def test_it_waits_on_the_list_and_is_signed(self, bench, attempt, provisional):
        assert "1 decision waits for a countersignature" in told(bench.assessor)
        assert str(bench.candidate) in page(bench.assessor, "countersign-list")
        address = reverse("countersign", args=[provisional.pk])
        assert as_(bench.assessor).post(address, {"answer": "agree"}).status_code == 302
        attempt.refresh_from_db()
        assert attempt.status == AttemptStatus.SIGNED_OFF
        assert f"countersigned by {bench.assessor}" in page(bench.candidate, "attempt-result", attempt.pk)

    def test_it_needs_the_password_of_this_sitting(self, bench, attempt, provisional):
        client = Client()
        client.force_login(bench.assessor)
        shown = text(client.post(reverse("countersign", args=[provisional.pk]), {"answer": "agree"}))
        assert 'type="password"' in shown
        attempt.refresh_from_db()
        assert attempt.status == AttemptStatus.COUNTERSIGN

    def test_deciding_otherwise_needs_its_reason_beside_the_field(self, bench, provisional):
        sent = {"answer": "not-yet-competent", "feedback": "Again.", "reason": ""}
        shown = text(as_(bench.assessor).post(reverse("countersign", args=[provisional.pk]), sent))
        assert "Say why it is decided otherwise." in shown

    def test_who_is_in_training_knows_it_before_deciding(self, bench, attempt):
        said = "You are in training for this task"
        assert said in page(beside.assessor_in_training(bench), "review-detail", attempt.pk)
        assert said not in page(bench.assessor, "review-detail", attempt.pk)

    def test_the_evidence_leads_to_the_signature_of_whoever_may_give_it(self, bench, attempt, provisional):
        button = f'<a class="button main" href="{reverse("countersign", args=[provisional.pk])}">'
        assert button in page(bench.assessor, "review-detail", attempt.pk)
        assert button not in page(provisional.assessor, "review-detail", attempt.pk)

    def test_the_list_of_those_that_wait_counts_them(self, bench, provisional):
        assert "To countersign (1)" in page(bench.assessor, "review-list")
        assert "To countersign (" not in page(provisional.assessor, "review-list")

    def test_who_may_not_is_told_why(self, bench, provisional):
        assert "Nobody countersigns a decision of their own" in page(
            provisional.assessor, "countersign", provisional.pk
        )


class TestAppeals:
    @pytest.fixture
    def signed(self, bench):
        return made.signed_off(bench, decision=Decision.NOT_YET_COMPETENT)

    def test_a_candidate_appeals_and_reads_the_answer(self, bench, signed):
        candidate, attempt = as_(bench.candidate), signed.attempt
        address = reverse("appeal-own", args=[attempt.pk])
        assert address in page(bench.candidate, "attempt-result", attempt.pk)
        candidate.post(address, {"grounds": "I did prove it again."})
        assert "You get an answer by" in text(candidate.get(address))
        verifier = VerifierFactory(by=bench.manager)
        assert [said for said in told(verifier) if said.startswith("Appeal to answer")]
        assert not [said for said in told(bench.assessor) if said.startswith("Appeal to answer")]
        sent = {"result": "changed", "reason": "The photo shows it.", "feedback": "Well done."}
        detail = reverse("appeal-detail", args=[Appeal.objects.get().pk])
        answered = as_(verifier).post(detail, sent, follow=True)
        assert answered.redirect_chain == [(detail, 302)]
        assert f"Answered: the appeal of {bench.candidate}." in text(answered)
        assert "The photo shows it." in text(candidate.get(address))
        assert "Well done." in page(bench.candidate, "attempt-result", attempt.pk)
        assert f"Your appeal is answered: {attempt}" in told(bench.candidate)

    def test_it_can_be_taken_further_and_taken_back(self, bench, signed):
        appeal = beside.appealed(signed)
        candidate = as_(bench.candidate)
        candidate.post(reverse("appeal-own-further", args=[signed.attempt_id]))
        appeal.refresh_from_db()
        assert appeal.stage == "written"
        candidate.post(reverse("appeal-own-withdraw", args=[signed.attempt_id]))
        appeal.refresh_from_db()
        assert appeal.result == "withdrawn"

    def test_another_candidates_appeal_is_not_there(self, bench, signed):
        beside.appealed(signed)
        other = as_(made.another_candidate(bench))
        assert other.get(reverse("appeal-own", args=[signed.attempt_id])).status_code == 404
        assert other.post(reverse("appeal-own-withdraw", args=[signed.attempt_id])).status_code == 404

    def test_an_assessor_reads_it_and_answers_none(self, bench, signed):
        appeal = beside.appealed(signed)
        assert "I did show the zero" in page(bench.assessor, "appeal-detail", appeal.pk)
        as_(bench.assessor).post(
            reverse("appeal-detail", args=[appeal.pk]), {"result": "upheld", "reason": "No."}
        )
        appeal.refresh_from_db()
        assert appeal.result == ""

    def test_what_changed_since_is_named(self, bench, signed):
        appeal = beside.appealed(signed)
        signed.attempt.readings.update(text="9.99")
        assert "Not as it was when the appeal was opened" in page(bench.manager, "appeal-detail", appeal.pk)


class TestRightsAndRules:
    def test_a_scope_is_recorded_and_ended(self, bench):
        task = bench.tasks[SWITCH_TEST].task
        sent = {"assessor": bench.assessor.pk, "tasks": [task.pk], "starts_on": DAY, "ends_on": ""}
        manager = as_(bench.manager)
        assert manager.post(reverse("scope-record"), sent).url == reverse("scope-list")
        scope = AssessorScope.objects.get()
        assert list(scope.tasks.all()) == [task]
        assert str(task) in page(bench.assessor, "scope-list")
        manager.post(reverse("scope-end", args=[scope.pk]), {"ends_on": DAY})
        scope.refresh_from_db()
        assert scope.ends_on == DAY

    def test_a_conflict_is_seen_by_managers_and_the_one_it_is_of(self, bench):
        sent = {
            "person": bench.assessor.pk,
            "candidate": bench.candidate.pk,
            "kind": "relative",
            "words": "Cousins",
            "starts_on": DAY,
        }
        assert as_(bench.assessor).post(reverse("conflict-declare"), sent).status_code == 302
        assert ConflictOfInterest.objects.get().declared_by == bench.assessor
        assert "Cousins" in page(bench.manager, "conflict-list")
        assert "Cousins" in page(bench.assessor, "conflict-list")
        assert "Cousins" not in page(VerifierFactory(by=bench.manager), "conflict-list")

    def test_an_adjustment_shows_to_the_candidate_and_at_the_review(self, bench, attempt):
        sent = {
            "candidate": bench.candidate.pk,
            "what": "Instructions read out",
            "extra_percent": 25,
            "starts_on": DAY,
        }
        assert as_(bench.assessor).post(reverse("adjustment-agree"), sent).status_code == 302
        assert Adjustment.objects.get().extra_percent == 25
        assert "Instructions read out" in page(bench.candidate, "bench-home")
        assert "The standard is the same." in page(bench.assessor, "review-detail", attempt.pk)
        start = page(bench.candidate, "attempt-start", bench.rig.pk, bench.tasks[SWITCH_TEST].pk)
        assert "Time for you" in start

    def test_never_a_diagnosis(self, bench):
        assert "no diagnosis" in page(bench.assessor, "adjustment-agree")

    def test_a_rule_is_set_told_and_kept_to(self, bench):
        task = bench.tasks[SWITCH_TEST].task
        sent = {"wait_days": 7, "most_attempts": 3}
        as_(bench.manager).post(reverse("resit-rule", args=[task.pk]), sent)
        assert ResitRule.objects.get().wait_days == 7
        attempt = made.signed_off(bench, decision=Decision.NOT_YET_COMPETENT).attempt
        assert "possible from Monday 13 January 2025" in page(bench.candidate, "attempt-result", attempt.pk)
        start = reverse("attempt-start", args=[bench.rig.pk, bench.tasks[SWITCH_TEST].pk])
        assert "again from Monday 13 January 2025" in text(as_(bench.candidate).get(start))
        sent = {"candidate": bench.candidate.pk, "task": task.pk, "reason": "Was ill."}
        assert as_(bench.assessor).post(reverse("resit-leave"), sent).status_code == 302
        assert "again from" not in text(as_(bench.candidate).get(start))

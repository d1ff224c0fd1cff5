"""What waits of people's attempts, and whom it is told."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from academy.models import Role
from academy.notices import Urgency, notices_for
from assessments import catalogue, drafts, limits, verification
from assessments.models.decisions import Decision
from assessments.models.verification import Agreement
from tests.factories import assessments as made
from tests.factories.academy import ManagerFactory, person_with
from tests.factories.assessments import SWITCH_TEST

pytestmark = pytest.mark.django_db


def told(person, *, at):
    return [notice.text for notice in notices_for(person=person, at=at)]


def test_a_candidate_is_told_to_carry_on_with_what_is_begun_until_it_is_handed_in(bench):
    attempt = made.started(bench)
    later = bench.at + timedelta(hours=1)
    assert told(bench.candidate, at=later) == ["Carry on with Two-terminal air pressure switch test on VB-01"]
    assert not any("Carry on" in text for text in told(bench.assessor, at=later))
    last = made.work_through(attempt)
    made.attempts.hand_in(attempt=attempt, candidate=bench.candidate, at=last)
    assert told(bench.candidate, at=last) == []


def test_an_assessor_is_told_how_many_wait_and_since_when(bench):
    first = made.handed_in(bench)
    assert "1 attempt waits for a decision" in told(bench.assessor, at=bench.at + timedelta(days=3))
    made.handed_in(bench, candidate=made.another_candidate(bench), at=bench.at + timedelta(hours=1))
    found = notices_for(person=bench.assessor, at=bench.at + timedelta(days=3))
    (notice,) = [each for each in found if "decision" in each.text]
    assert notice.text == "2 attempts wait for a decision"
    assert notice.on == first.submitted_at.date()


@pytest.mark.parametrize("kind", [Role.Kind.CANDIDATE, Role.Kind.TECHNICIAN, Role.Kind.VERIFIER])
def test_nobody_else_is_told_of_decisions(bench, kind):
    made.handed_in(bench)
    other = person_with(kind, by=bench.manager)
    assert not any("decision" in text for text in told(other, at=bench.at + timedelta(days=1)))


def test_a_candidate_is_told_of_a_result_for_three_days_and_nobody_else_is(bench):
    signed = made.signed_off(bench)
    (notice,) = notices_for(person=bench.candidate, at=signed.at)
    assert notice.text == "Your result is ready: Two-terminal air pressure switch test on VB-01"
    assert notice.url == reverse("attempt-result", args=[signed.attempt_id])
    assert told(bench.candidate, at=signed.at + timedelta(days=3) - timedelta(minutes=1)) == [notice.text]
    assert told(bench.candidate, at=signed.at + timedelta(days=3)) == []
    for other in (made.another_candidate(bench), bench.assessor, bench.manager):
        assert notice.text not in told(other, at=signed.at)


def with_plate(bench, **changes):
    """The switch test issued once more, with a step against a limit from a standard."""
    data = made.data_for(SWITCH_TEST, design="two-terminal-switch-rig")
    *before, conclusion = data["steps"]
    stated = {"lower": 1.0, "upper": 2.0, "unit": "mbar", "source": "A standard", "dated": "2019", **changes}
    plate = {
        "slug": "plate",
        "kind": "reading",
        "title": "Against the plate",
        "instruction": "Log it.",
        "instrument_kind": "manometer",
        "quantity": "pressure",
        "judged_by": "conforms",
        "condition": "fan-running",
        "parameters": stated,
    }
    return catalogue.issue(
        centre=bench.centre,
        data={**data, "steps": [*before, plate, conclusion]},
        by=bench.manager,
        at=bench.at,
    )


def of_limits(person, *, at):
    return [text for text in told(person, at=at) if "limit" in text]


def test_a_manager_is_told_of_a_limit_until_it_is_confirmed(bench):
    assert of_limits(bench.manager, at=bench.at) == []
    version = with_plate(bench)
    waits = "1 limit waits to be confirmed: its tasks are for practice only until then"
    assert of_limits(bench.manager, at=bench.at) == [waits]
    assert of_limits(bench.assessor, at=bench.at) == of_limits(bench.technician, at=bench.at) == []
    digest = limits.of_step(version.steps.get(slug="plate")).digest
    limits.confirm(centre=bench.centre, digest=digest, compared=True, by=bench.manager, at=bench.at)
    assert of_limits(bench.manager, at=bench.at) == []


def test_a_limit_that_ran_out_is_told_although_it_was_confirmed(bench):
    version = with_plate(bench, applies_until=bench.at.date().isoformat())
    digest = limits.of_step(version.steps.get(slug="plate")).digest
    limits.confirm(centre=bench.centre, digest=digest, compared=True, by=bench.manager, at=bench.at)
    assert of_limits(bench.manager, at=bench.at) == []
    tomorrow = bench.at + timedelta(days=1)
    assert of_limits(bench.manager, at=tomorrow) == [
        "1 limit doesn’t apply today: its tasks are for practice only"
    ]


def test_a_draft_is_told_to_whoever_wrote_in_it_last_until_it_is_set_aside(bench):
    draft = drafts.begin_from(version=bench.tasks[SWITCH_TEST], by=bench.manager, at=bench.at)
    said = "The draft of Two-terminal air pressure switch test isn’t published"
    assert said in told(bench.manager, at=bench.at)
    other = person_with(Role.Kind.MANAGER, by=bench.manager)
    assert said not in told(other, at=bench.at)
    drafts.set_aside(draft=draft, by=bench.manager, at=bench.at)
    assert said not in told(bench.manager, at=bench.at)


def test_another_centres_limits_and_drafts_are_told_to_nobody_here(bench):
    stranger = ManagerFactory()
    with_plate(bench)
    drafts.begin_from(version=bench.tasks[SWITCH_TEST], by=bench.manager, at=bench.at)
    assert told(stranger, at=bench.at) == []


class TestVerification:
    @pytest.fixture
    def verifier(self, bench):
        return person_with(Role.Kind.VERIFIER, by=bench.manager)

    @pytest.fixture
    def sampled(self, bench, verifier):
        signed = made.signed_off(bench)
        plan = verification.draw_plan(
            centre=bench.centre,
            starts_on=signed.at.date(),
            ends_on=signed.at.date(),
            by=verifier,
            at=bench.at + timedelta(days=2),
            wrong_percent=10,
            chance_percent=80,
            seed=7,
        )
        return plan.sampled.select_related("plan__centre", "sign_off__attempt").get()

    @pytest.fixture
    def after(self, sampled):
        return sampled.plan.made_at + timedelta(hours=1)

    def looked_at(self, sampled, verifier, *, at):
        return verification.decide_blind(
            sampled=sampled, verifier=verifier, decision=Decision.COMPETENT, note="All there.", at=at
        )

    def agreed(self, made_of, verifier, *, at):
        return verification.compare(
            verification=made_of, verifier=verifier, agreement=Agreement.AGREED, note="", at=at
        )

    def test_a_sampled_decision_waits_until_whoever_began_it_has_compared(
        self, bench, sampled, verifier, after
    ):
        other = person_with(Role.Kind.VERIFIER, by=bench.manager)
        said = "1 sampled decision waits to be verified"
        assert said in told(verifier, at=after) and said in told(other, at=after)
        assert said not in told(bench.assessor, at=after) and said not in told(bench.manager, at=after)
        begun = self.looked_at(sampled, verifier, at=after)
        assert said in told(verifier, at=after) and said not in told(other, at=after)
        self.agreed(begun, verifier, at=after)
        assert said not in told(verifier, at=after)

    def test_an_action_is_told_to_its_owner_until_it_is_closed(self, bench, sampled, verifier, after):
        done = self.agreed(self.looked_at(sampled, verifier, at=after), verifier, at=after)
        action = verification.raise_action(
            verification=done,
            text="Say the pair aloud.",
            owner=bench.assessor,
            due_on=after.date(),
            by=verifier,
            at=after,
        )
        (notice,) = [
            each for each in notices_for(person=bench.assessor, at=after) if "put right" in each.text
        ]
        assert (notice.text, notice.urgency) == ("To put right: Say the pair aloud.", Urgency.WAITING)
        assert notice.url == reverse("review-detail", args=[sampled.sign_off.attempt_id])
        tomorrow = after + timedelta(days=1)
        late = [each for each in notices_for(person=bench.assessor, at=tomorrow) if "overdue" in each.text]
        assert [each.urgency for each in late] == [Urgency.NOW]
        assert not any("put right" in text for text in told(verifier, at=tomorrow))
        verification.close_action(action=action, closure="Heard it.", by=verifier, at=tomorrow)
        assert not any("put right" in text for text in told(bench.assessor, at=tomorrow))


def test_more_results_and_drafts_cost_no_more_queries(bench):
    def counted(person, *, at):
        with CaptureQueriesContext(connection) as queries:
            notices_for(person=person, at=at)
        return len(queries)

    signed = made.signed_off(bench)
    drafts.begin_from(version=bench.tasks[SWITCH_TEST], by=bench.manager, at=bench.at)
    at = signed.at + timedelta(hours=2)
    before = counted(bench.candidate, at=at), counted(bench.manager, at=at)
    for _ in range(2):
        made.signed_off(bench, at=bench.at + timedelta(hours=1))
    for slug in ("safe-isolation", "instrument-checks"):
        drafts.begin_from(version=bench.tasks[slug], by=bench.manager, at=bench.at)
    assert (counted(bench.candidate, at=at), counted(bench.manager, at=at)) == before

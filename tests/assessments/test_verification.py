"""A sample of decisions, each verified blind first, and what follows from it."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from academy import ledger, people
from academy.models import LedgerEntry, Role
from academy.refusals import Refused
from assessments import verification
from assessments.models import SampledDecision, Verification
from assessments.models.decisions import Decision
from assessments.models.verification import Agreement
from assessments.sampling.selection import Risk
from assessments.views.verification import reasons
from tests.factories import assessments as made
from tests.factories.academy import person_with
from tests.factories.assessments import Work

pytestmark = pytest.mark.django_db
LATER = timedelta(days=2)


@pytest.fixture
def verifier(bench):
    return person_with(Role.Kind.VERIFIER, by=bench.manager)


@pytest.fixture
def decided(bench):
    """A clean decision, and one against what the marking proposes."""
    clean = made.signed_off(bench)
    against = made.signed_off(
        bench, Work(skipped=frozenset({"prove-after"})), candidate=made.another_candidate(bench)
    )
    return clean, against


def as_well_a_verifier(person, bench):
    people.grant_role(
        person=person, kind=Role.Kind.VERIFIER, starts_on=bench.at.date(), by=bench.manager, at=bench.at
    )


def draw(bench, verifier, **given):
    settings = {"wrong_percent": 10, "chance_percent": 80, "seed": 7} | given
    return verification.draw_plan(
        centre=bench.centre,
        starts_on=bench.at.date(),
        ends_on=bench.at.date(),
        by=verifier,
        at=bench.at + LATER,
        **settings,
    )


def sampled_of(plan, signed):
    return plan.sampled.select_related("plan__centre", "sign_off__attempt").get(sign_off=signed)


def decide(sampled, verifier, *, at, decision=Decision.COMPETENT, note="Every pair tested, leads taken off."):
    return verification.decide_blind(sampled=sampled, verifier=verifier, decision=decision, note=note, at=at)


@pytest.fixture
def plan(bench, verifier, decided):
    return draw(bench, verifier)


@pytest.fixture
def blind(bench, plan, verifier, decided):
    return decide(sampled_of(plan, decided[0]), verifier, at=bench.at + LATER)


@pytest.fixture
def compared(bench, blind, verifier):
    return verification.compare(
        verification=blind, verifier=verifier, agreement=Agreement.AGREED, note="", at=bench.at + LATER
    )


class TestDrawing:
    def test_a_decision_against_the_marking_is_always_in_it_and_says_why(self, plan, decided):
        assert Risk.OVERRIDE in sampled_of(plan, decided[1]).risks or sampled_of(plan, decided[1]).is_random

    def test_it_states_what_its_random_part_finds(self, plan):
        assert plan.stated["population"] == 2
        assert plan.stated["chance"] >= 0.8

    def test_the_same_seed_draws_the_same_again(self, bench, verifier, plan):
        again = draw(bench, verifier)
        assert [row.sign_off_id for row in again.sampled.all()] == [
            row.sign_off_id for row in plan.sampled.all()
        ]

    def test_practice_and_other_days_are_left_out(self, bench, verifier):
        made.signed_off(bench, purpose="practice")
        with pytest.raises(Refused, match="nothing to sample"):
            draw(bench, verifier)

    def test_only_a_verifier_in_post_draws_one(self, bench, decided):
        for person in (bench.assessor, bench.manager):
            with pytest.raises(Refused, match="in post today"):
                draw(bench, person)

    @pytest.mark.parametrize("given", [{"wrong_percent": 0}, {"chance_percent": 100}], ids=str)
    def test_figures_that_make_no_sense_are_refused(self, bench, verifier, decided, given):
        with pytest.raises(Refused, match="between 0 and 100"):
            draw(bench, verifier, **given)

    def test_the_ledger_holds_what_was_drawn(self, bench, plan):
        entry = LedgerEntry.objects.get(verb="sampling.draw")
        assert all(str(row.sign_off_id) in entry.body for row in plan.sampled.all())
        assert isinstance(ledger.verify(centre=bench.centre), ledger.Intact)

    def test_more_decisions_cost_no_more_queries(self, bench, verifier, decided):
        def counted():
            with CaptureQueriesContext(connection) as queries:
                draw(bench, verifier)
            return len(queries)

        before = counted()
        for _ in range(2):
            made.signed_off(bench, candidate=made.another_candidate(bench))
        assert counted() == before


class TestVerifying:
    def test_own_decision_first_then_the_comparison(self, compared):
        assert (compared.own_decision, compared.agreement) == (Decision.COMPETENT, Agreement.AGREED)
        verbs = LedgerEntry.objects.filter(subject=str(compared.pk)).values_list("verb", flat=True)
        assert list(verbs) == ["verification.decide", "verification.compare"]

    def test_nobody_verifies_what_they_had_part_in(self, bench, plan, decided):
        for part in (bench.assessor, bench.candidate):
            as_well_a_verifier(part, bench)
            with pytest.raises(Refused, match="Nobody verifies a decision"):
                decide(sampled_of(plan, decided[0]), part, at=bench.at + LATER)

    def test_one_is_decided_on_once(self, bench, plan, blind, decided):
        other = person_with(Role.Kind.VERIFIER, by=bench.manager)
        with pytest.raises(Refused, match="has decided on this one already"):
            decide(sampled_of(plan, decided[0]), other, at=bench.at + LATER)

    def test_a_decision_says_what_it_rests_on(self, bench, plan, decided, verifier):
        with pytest.raises(Refused, match="what you decided it by") as refusal:
            decide(sampled_of(plan, decided[0]), verifier, at=bench.at + LATER, note=" ")
        assert refusal.value.field == "note"

    def test_whoever_decided_compares_once(self, bench, blind, verifier):
        def compare(person, *, agreement=Agreement.AGREED):
            return verification.compare(
                verification=blind, verifier=person, agreement=agreement, note="", at=bench.at + LATER
            )

        with pytest.raises(Refused, match="they compare it"):
            compare(person_with(Role.Kind.VERIFIER, by=bench.manager))
        with pytest.raises(Refused, match="Say why"):
            compare(verifier, agreement=Agreement.NOT_AGREED)
        compare(verifier)
        with pytest.raises(Refused, match="compared already"):
            compare(verifier)

    def test_a_decision_of_ones_own_that_differs_wants_a_reason(self, bench, plan, decided, verifier):
        own = decide(
            sampled_of(plan, decided[1]), verifier, at=bench.at + LATER, decision=Decision.NOT_YET_COMPETENT
        )
        with pytest.raises(Refused, match="Say why"):
            verification.compare(
                verification=own, verifier=verifier, agreement=Agreement.AGREED, note="", at=bench.at + LATER
            )


class TestActions:
    def raised(self, compared, verifier, owner, *, at, days=7):
        return verification.raise_action(
            verification=compared,
            text="Write the second prove into the feedback.",
            owner=owner,
            due_on=at.date() + timedelta(days=days),
            by=verifier,
            at=at,
        )

    def test_it_is_open_until_a_verifier_says_how_it_was_put_right(self, bench, compared, verifier):
        at = bench.at + LATER
        action = self.raised(compared, verifier, bench.assessor, at=at)
        with pytest.raises(Refused, match="what was done"):
            verification.close_action(action=action, closure=" ", by=verifier, at=at)
        closed = verification.close_action(action=action, closure="Feedback read.", by=verifier, at=at)
        assert (closed.closed_by, closed.closure) == (verifier, "Feedback read.")
        with pytest.raises(Refused, match="closed this already"):
            verification.close_action(action=action, closure="Again.", by=verifier, at=at)

    def test_nobody_closes_what_they_had_to_put_right(self, bench, compared, verifier):
        action = self.raised(compared, verifier, verifier, at=bench.at + LATER)
        with pytest.raises(Refused, match="Somebody else closes"):
            verification.close_action(action=action, closure="Done.", by=verifier, at=bench.at + LATER)

    def test_a_day_that_has_passed_is_refused(self, bench, compared, verifier):
        with pytest.raises(Refused, match="passed already") as refusal:
            self.raised(compared, verifier, bench.assessor, at=bench.at + LATER, days=-1)
        assert refusal.value.field == "due_on"


def test_why_it_is_in_the_sample_does_not_tell_the_decision_before_the_verifiers_own():
    sampled = SampledDecision(risks=[Risk.OVERRIDE, Risk.NOT_YET, Risk.NEW_RIG], covers=[], is_random=False)
    assert reasons(sampled) == "a new rig or baseline, a risk told after your own decision"
    sampled.verification = Verification()
    assert reasons(sampled) == "decided against the marking, not yet competent, a new rig or baseline"


class TestThePages:
    @pytest.fixture(autouse=True)
    def afterwards(self, bench, monkeypatch):
        monkeypatch.setattr(timezone, "now", lambda: bench.at + LATER)

    def test_a_verifier_works_through_a_sample(self, client, bench, verifier, decided):
        client.force_login(verifier)
        days = {"starts_on": bench.at.date(), "ends_on": bench.at.date()}
        figures = {"wrong_percent": 10, "chance_percent": 80, "seed": 7}
        page = client.post(reverse("sampling-draw"), days | figures, follow=True).text
        assert "would find at least one with a chance of 100 %" in page
        sampled = SampledDecision.objects.get(sign_off=decided[0])
        address = reverse("sampled-detail", args=[sampled.pk])

        page = client.get(address).text
        assert decided[0].feedback not in page  # blind
        assert "The assessor decided" not in page
        page = client.post(address, {"note": "", "decision": "competent"}).text
        assert "Say in a sentence what you decided it by." in page
        page = client.post(address, {"note": "All seen."}).text
        assert "Decide first." in page
        page = client.post(address, {"note": "All seen.", "decision": "competent"}, follow=True).text
        assert decided[0].feedback in page
        page = client.post(address, {"agreement": "agreed", "note": ""}, follow=True).text
        assert "Raise an action" in page
        action = {"text": "Praise less.", "owner": bench.assessor.pk, "due_on": "2031-01-01"}
        page = client.post(reverse("action-raise", args=[sampled.pk]), action, follow=True).text
        assert "Praise less." in page
        assert "Praise less." in client.get(reverse("sampling-list")).text

    def test_those_still_to_verify_come_first(self, client, verifier, plan, compared):
        client.force_login(verifier)
        page = client.get(reverse("sampling-detail", args=[plan.pk]))
        assert [bool(made) for _, _, made in page.context["rows"]] == [False, True]
        assert "2 decisions, 1 verified" in page.text

    def test_whoever_only_reads_sees_how_far_it_is_and_decides_nothing(self, client, bench, plan):
        client.force_login(bench.manager)
        assert client.get(reverse("sampling-detail", args=[plan.pk])).status_code == 200
        address = reverse("sampled-detail", args=[plan.sampled.first().pk])
        assert "Waiting for a verifier" in client.get(address).text
        assert client.post(address, {"note": "x", "decision": "competent"}).status_code == 403

    def test_the_assessor_of_a_decision_can_not_verify_it(self, client, bench, plan, decided):
        as_well_a_verifier(bench.assessor, bench)
        client.force_login(bench.assessor)
        address = reverse("sampled-detail", args=[sampled_of(plan, decided[0]).pk])
        assert "Waiting for a verifier who had no part in it." in client.get(address).text

    def test_another_centres_sample_is_not_there(self, client, plan):
        other = made.ready_bench(tag="VB-77")
        client.force_login(person_with(Role.Kind.VERIFIER, by=other.manager))
        assert client.get(reverse("sampling-detail", args=[plan.pk])).status_code == 404
        assert client.get(reverse("sampled-detail", args=[plan.sampled.first().pk])).status_code == 404

    def test_a_longer_sample_costs_no_more_queries(self, client, bench, verifier, plan):
        client.force_login(verifier)

        def counted(shown):
            with CaptureQueriesContext(connection) as queries:
                client.get(reverse("sampling-detail", args=[shown.pk]))
            return len(queries)

        before = counted(plan)
        for _ in range(2):
            made.signed_off(bench, candidate=made.another_candidate(bench))
        assert counted(draw(bench, verifier)) == before

"""The assessor's pages, and what the candidate sees after sign-off."""

import re
from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest
from axes.models import AccessAttempt
from django.conf import settings
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from academy import people
from academy.views.confirming import KEPT_AS
from assessments import disclosure, outcomes, phrases
from assessments.marking.points import left_to_assessor
from assessments.models import Attempt, Look, Phrase, Reading, SignOff
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.decisions import Decision
from rigs.models import Instrument
from tests.factories import assessments as made
from tests.factories.academy import VerifierFactory, in_a_sitting, person_with

pytestmark = pytest.mark.django_db

NOW = made.AT + timedelta(hours=3)
MISSED = made.Work(skipped=frozenset({"prove-after"}))
PASSWORD = "seven wet flanges"
FEEDBACK = "Clear log. Next time prove the indicator again at once."


@pytest.fixture(autouse=True)
def now(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)


def as_(person):
    return in_a_sitting(person, at=NOW)


def decide(bench, attempt, *, by=None, client=None, follow=False, **changes):
    outcome = outcomes.latest(attempt)
    data = {"decision": "competent", "feedback": FEEDBACK, "reason": "", "outcome": str(outcome.pk)}
    client = client or as_(by or bench.assessor)
    return client.post(reverse("review-detail", args=[attempt.pk]), data | changes, follow=follow)


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

        assert "signed this attempt off already" in page
        assert SignOff.objects.get().decision == Decision.COMPETENT

    def test_a_marking_that_was_replaced_meanwhile_must_be_looked_at_first(self, bench):
        attempt = made.handed_in(bench)
        seen = outcomes.latest(attempt)
        outcomes.mark_attempt(attempt=attempt, at=NOW)

        page = decide(bench, attempt, outcome=str(seen.pk)).content.decode()

        assert "marked again since you opened it" in page


class TestGoingOn:
    """From one attempt to the next, in the order of the list."""

    @pytest.fixture
    def three(self, bench):
        """A clean one, a later clean one, and one with a breach, which stands first."""
        return [
            made.handed_in(
                bench,
                work,
                candidate=made.another_candidate(bench),
                purpose=Purpose.ASSESSMENT,
                at=bench.at + timedelta(minutes=minutes),
            )
            for minutes, work in ((0, made.ALL_WELL), (5, made.ALL_WELL), (10, MISSED))
        ]

    def test_each_page_has_the_one_before_and_the_one_after(self, bench, three):
        clean, later, breach = three
        assessor = as_(bench.assessor)
        assessor.get(reverse("review-list"))

        page = assessor.get(reverse("review-detail", args=[clean.pk])).text

        assert "2 of 3" in page
        assert f'rel="prev" href="{reverse("review-detail", args=[breach.pk])}"' in page
        assert f'rel="next" href="{reverse("review-detail", args=[later.pk])}"' in page

    def test_without_the_list_the_order_is_the_same(self, bench, three):
        page = as_(bench.assessor).get(reverse("review-detail", args=[three[2].pk])).text

        assert "1 of 3" in page

    def test_after_the_last_it_goes_back_to_what_was_passed_over(self, bench, three):
        _clean, later, breach = three
        assessor = as_(bench.assessor)
        assessor.get(reverse("review-list"))

        response = decide(bench, later, client=assessor)

        assert response.url == reverse("review-detail", args=[breach.pk])

    def test_filters_keep_to_what_was_asked_for(self, bench, three):
        everything, mine = ({}, {"mine": "on"})
        pages = [
            as_(bench.assessor).get(reverse("review-list", query=query)).text for query in (everything, mine)
        ]

        assert "3 waiting" in pages[0]
        assert "Nothing of that waits." in pages[1]

    @pytest.mark.parametrize("query", [{"task": "nonsense"}, {"rig": "\0"}, {"mine": "x"}, {"page": "1"}])
    def test_filters_that_make_no_sense_filter_nothing_or_little(self, bench, three, query):
        assert as_(bench.assessor).get(reverse("review-list", query=query)).status_code == 200

    def test_what_was_signed_off_is_said_with_what_is_left(self, bench, three):
        assessor = as_(bench.assessor)

        page = decide(bench, three[0], client=assessor, follow=True).text

        assert (
            f"Signed off {three[0].candidate}, {three[0].version.task}: competent. 2 still to decide." in page
        )


class TestOneByOne:
    AT_THE_EDGE = made.Work(readings={"taps-running": "1.53"}, skipped=frozenset({"ports-running"}))

    @pytest.fixture
    def attempt(self, bench):
        return made.handed_in(bench, self.AT_THE_EDGE)

    def judged(self, attempt, *met):
        points = left_to_assessor(outcomes.marking_of(outcomes.latest(attempt)))
        said = {f"met-{point.key}": each for point, each in zip(points, met, strict=True)}
        return said | {f"why-{point.key}": f"Asked about {point.title}." for point in points}

    def test_each_point_is_decided_and_is_on_the_page_and_in_the_result(self, bench, attempt):
        decide(bench, attempt, **self.judged(attempt, "met", "met"))

        page = as_(bench.manager).get(reverse("review-detail", args=[attempt.pk])).text
        result = as_(bench.candidate).get(reverse("attempt-result", args=[attempt.pk])).text

        for shown in (page, result):
            assert "Decided by the assessor, one by one" in shown
            assert "Asked about Δp at the venturi taps, fan running." in shown

    def test_a_candidate_kept_from_the_numbers_sees_what_was_decided_but_not_by_what(self, bench, attempt):
        made.progress.plan(
            cohort=bench.cohort, task=bench.tasks[made.SWITCH_TEST].task, by=bench.manager, at=NOW
        )
        decide(bench, attempt, decision="not-yet-competent", **self.judged(attempt, "met", "not-met"))

        result = as_(bench.candidate).get(reverse("attempt-result", args=[attempt.pk])).text

        assert "Decided by the assessor, one by one" in result
        assert "Asked about" not in result

    def test_a_point_left_open_is_named_and_the_rest_is_kept(self, bench, attempt):
        page = decide(bench, attempt, **self.judged(attempt, "met", "")).text

        assert "Decide whether it is met." in page
        assert "Asked about Δp at the venturi taps, fan running." in page
        assert not SignOff.objects.exists()


class TestPhrases:
    def test_ticked_phrases_are_added_to_what_is_typed(self, bench):
        attempt = made.handed_in(bench)
        phrase = phrases.keep(assessor=bench.assessor, text="Good order.", task=None, at=NOW)

        decide(bench, attempt, phrases=[str(phrase.pk)])

        assert SignOff.objects.get().feedback == f"{FEEDBACK}\nGood order."

    def test_a_phrase_is_feedback_enough(self, bench):
        attempt = made.handed_in(bench)
        phrase = phrases.keep(assessor=bench.assessor, text="Good order.", task=None, at=NOW)

        decide(bench, attempt, phrases=[str(phrase.pk)], feedback="")

        assert SignOff.objects.get().feedback == "Good order."

    def test_what_was_typed_is_kept_for_the_task_if_wanted(self, bench):
        attempt = made.handed_in(bench)

        decide(bench, attempt, keep="on")

        phrase = Phrase.objects.get()
        assert (phrase.text, phrase.task, phrase.assessor) == (FEEDBACK, attempt.version.task, bench.assessor)


class TestTheTime:
    def test_it_is_kept_from_the_first_sight_on_and_shown_to_staff(self, bench, monkeypatch):
        attempt = made.handed_in(bench)
        assessor = as_(bench.assessor)
        assessor.get(reverse("review-detail", args=[attempt.pk]))
        monkeypatch.setattr(timezone, "now", lambda: NOW + timedelta(minutes=4))

        decide(bench, attempt, client=assessor, visible_seconds="95")

        page = as_(bench.manager).get(reverse("review-detail", args=[attempt.pk])).text
        assert "decided after 4 min 0 s, in sight for 1 min 35 s" in page
        assert "Worked <time" in page

    def test_a_reader_opens_nothing(self, bench):
        attempt = made.handed_in(bench)
        as_(bench.manager).get(reverse("review-detail", args=[attempt.pk]))

        assert not Look.objects.exists()


class TestConfirming:
    """The first decision of a sitting asks for the password, on a page of its own."""

    @pytest.fixture
    def attempt(self, bench):
        people.set_password(person=bench.assessor, password=PASSWORD, by=bench.manager, at=NOW)
        return made.handed_in(bench)

    @pytest.fixture
    def desk(self, bench, attempt):
        client = Client()
        client.force_login(bench.assessor)
        return client

    def test_it_asks_once_and_loses_nothing(self, bench, attempt, desk):
        asked = decide(bench, attempt, client=desk)

        assert "Confirm that it is you" in asked.text
        assert FEEDBACK in asked.text
        assert not SignOff.objects.exists()

        decide(bench, attempt, client=desk, **{"confirm-password": PASSWORD})
        assert SignOff.objects.get().feedback == FEEDBACK

        other = made.handed_in(
            bench, candidate=made.another_candidate(bench), at=bench.at + timedelta(minutes=5)
        )
        decide(bench, other, client=desk)
        assert SignOff.objects.count() == 2

    def test_after_half_an_hour_without_a_decision_it_asks_again(self, bench, attempt, monkeypatch):
        desk = as_(bench.assessor)
        monkeypatch.setattr(timezone, "now", lambda: NOW + timedelta(minutes=31))

        assert "Confirm that it is you" in decide(bench, attempt, client=desk).text

    def test_what_is_missing_is_said_before_anybody_types_a_password(self, bench, attempt, desk):
        page = decide(bench, attempt, client=desk, decision="not-yet-competent").text

        assert "say why" in page
        assert "Confirm that it is you" not in page

    def test_a_wrong_password_signs_nothing_and_keeps_what_was_written(self, bench, attempt, desk):
        page = decide(bench, attempt, client=desk, **{"confirm-password": "something else"}).text

        assert "That isn’t your password." in page
        assert FEEDBACK in page
        assert not SignOff.objects.exists()

    def test_wrong_passwords_count_as_failures_to_sign_in_and_lock_without_losing_a_word(
        self, bench, attempt, desk, monkeypatch
    ):
        monkeypatch.setattr(timezone, "now", lambda: datetime.now(UTC))  # the lock-out's own clock
        desk.force_login(bench.assessor)
        for _ in range(settings.AXES_FAILURE_LIMIT):
            locked = decide(bench, attempt, client=desk, **{"confirm-password": "something else"})
        right = decide(bench, attempt, client=desk, **{"confirm-password": PASSWORD})

        for response in (locked, right):
            assert response.status_code == 429
            assert "Too many wrong passwords. Try again in" in response.text
            assert FEEDBACK in response.text
        assert not SignOff.objects.exists()
        assert FEEDBACK not in "".join(AccessAttempt.objects.values_list("post_data", flat=True))

    def test_the_right_one_forgets_the_wrong_ones(self, bench, attempt, desk):
        decide(bench, attempt, client=desk, **{"confirm-password": "something else"})
        decide(bench, attempt, client=desk, **{"confirm-password": PASSWORD})

        assert not AccessAttempt.objects.exists()

    def test_one_can_go_back_to_what_was_written(self, bench, attempt, desk):
        page = decide(bench, attempt, client=desk, **{"confirm-back": "x", "confirm-password": ""}).text

        assert FEEDBACK in page
        assert 'name="decision"' in page

    def test_signing_out_ends_the_sitting(self, bench, attempt, desk):
        decide(bench, attempt, client=desk, **{"confirm-password": PASSWORD})
        desk.post(reverse("sign-out"))

        assert KEPT_AS not in desk.session


class TestAStalePage:
    def test_who_decided_meanwhile_is_shown_and_nothing_is_lost_or_overwritten(self, bench):
        attempt = made.handed_in(bench)
        other = person_with("assessor", by=bench.manager)
        decide(bench, attempt, by=other, feedback="The first word.")

        page = decide(bench, attempt, decision="not-yet-competent", reason="I saw it otherwise.").text

        assert f"{other.name} signed this attempt off already" in page
        assert "The first word." in page
        assert "What you had written" in page
        assert FEEDBACK in page
        assert "I saw it otherwise." in page
        assert SignOff.objects.get().feedback == "The first word."

    def test_so_it_is_where_something_is_missing_too(self, bench):
        attempt = made.handed_in(bench)
        other = person_with("assessor", by=bench.manager)
        decide(bench, attempt, by=other)

        page = decide(bench, attempt, decision="").text

        assert f"{other.name} signed this attempt off already" in page


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

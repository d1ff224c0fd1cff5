"""Cohort by task: every state, who is stuck and why, what is left, in as many queries for a thousand."""

from datetime import date, datetime, time, timedelta
from io import BytesIO

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from openpyxl import load_workbook

from academy import cohorts
from academy.models import Membership, Person
from assessments import cohort_progress, cohort_rates, progress, stuck, voids
from assessments.cohort_records import records
from assessments.models import Attempt, ResitRule, SignOff
from assessments.models.attempts import AttemptStatus
from assessments.models.decisions import Decision
from assessments.models.returns import VoidCause
from assessments.progress import Standing
from assessments.stuck import Why
from rigs import holds
from tests.factories import assessments as made
from tests.factories.academy import CandidateFactory, CohortFactory
from tests.factories.assessments import SWITCH_TEST, Work

pytestmark = pytest.mark.django_db
NOT_YET = Decision.NOT_YET_COMPETENT
DAY = timedelta(days=1)


@pytest.fixture
def planned(bench):
    """The switch test is planned for the cohort."""
    task = bench.tasks[SWITCH_TEST].task
    progress.plan(cohort=bench.cohort, task=task, by=bench.manager, at=bench.at)
    return task


@pytest.fixture
def least(bench):
    """Nothing but a conclusion: an attempt that can be handed in, and isn't competent."""
    steps = bench.tasks[SWITCH_TEST].steps.exclude(kind="conclusion")
    return Work(skipped=frozenset(steps.values_list("slug", flat=True)))


def looked_up(bench, *, days=0):
    return records(
        centre=bench.centre, cohorts=[bench.cohort], on=bench.centre.date_at(bench.at) + days * DAY
    )


def why(bench, *, days=0, candidate=None):
    found = stuck.reasons(looked_up(bench, days=days))
    return [each.why for each in found.get((bench.cohort.pk, (candidate or bench.candidate).pk), ())]


def cell(bench):
    (row,) = cohort_progress.board(looked_up(bench)).rows
    return row.cells[0]


class TestStates:
    @pytest.mark.parametrize("status", [AttemptStatus.RETURNED, AttemptStatus.COUNTERSIGN], ids=str)
    def test_what_isn_t_decided_for_good_shows_as_it_is(self, bench, planned, least, status):
        attempt = made.handed_in(bench, least)
        Attempt.objects.filter(pk=attempt.pk).update(status=status)
        assert cell(bench).standing == status

    def test_void_attempts_count_nowhere(self, bench, planned, least):
        attempt = made.handed_in(bench, least)
        voids.make_void(
            attempt=attempt,
            cause=VoidCause.RIG,
            reason="Fan tripped.",
            words="The rig failed.",
            by=bench.assessor,
            at=attempt.submitted_at + timedelta(minutes=5),
            hold=None,
        )
        found = cell(bench)
        assert (found.standing, found.attempts, found.void) == (Standing.VOID, 0, 1)
        made.signed_off(bench)
        found = cell(bench)
        assert (found.standing, found.attempts, found.void) == (Standing.COMPETENT, 1, 1)
        (rate,) = cohort_rates.task_rates(looked_up(bench))
        assert (rate.first_time, rate.share.n, rate.resits, rate.void) == (1, 1, 0, 1)

    def test_a_resit_counts_and_the_first_time_share_stays(self, bench, planned, least):
        made.signed_off(bench, least, decision=NOT_YET)
        made.signed_off(bench, at=bench.at + timedelta(hours=1))
        (rate,) = cohort_rates.task_rates(looked_up(bench))
        assert (rate.first_time, rate.share.n, rate.resits) == (0, 1, 1)
        assert cell(bench).attempts == 2


class TestWhoIsStuck:
    def test_nobody_whose_tasks_are_done(self, bench, planned):
        made.signed_off(bench)
        assert why(bench, days=100) == []

    def test_nothing_for_more_than_a_fortnight(self, bench, planned):
        assert why(bench, days=14) == []
        assert why(bench, days=15) == [Why.STALLED]

    def test_an_assessor_is_waited_for(self, bench, planned, least):
        made.handed_in(bench, least)
        assert why(bench, days=5) == []
        assert why(bench, days=20) == [Why.ASSESSOR]

    def test_no_rig_is_in_service(self, bench, planned):
        holds.place(on=bench.rig, reason="Guard loose", by=bench.technician, at=bench.at)
        assert why(bench) == [Why.RIG]

    def test_what_comes_first_is_missing_and_not_planned(self, bench, planned):
        bench.candidate.prior_achievements.all().delete()
        found = stuck.reasons(looked_up(bench))[bench.cohort.pk, bench.candidate.pk]
        assert {each.why for each in found} == {Why.PREREQUISITE}
        assert "comes first, and isn’t planned" in found[0].words

    def test_a_resit_has_to_wait_or_needs_leave(self, bench, planned, least):
        ResitRule.objects.create(
            task=planned, wait_days=3, most_attempts=1, changed_by=bench.manager, changed_at=bench.at
        )
        made.signed_off(bench, least, decision=NOT_YET)
        assert why(bench, days=2) == [Why.RESIT, Why.RESIT]
        assert why(bench, days=3) == [Why.RESIT]

    def test_the_same_step_is_not_met_twice(self, bench, planned):
        missed = Work(skipped=frozenset({"prove-after"}))
        made.signed_off(bench, missed, decision=NOT_YET)
        assert why(bench) == []
        made.signed_off(bench, missed, decision=NOT_YET, at=bench.at + timedelta(hours=1))
        assert why(bench) == [Why.STEP]


class TestTimeLeft:
    def test_what_does_not_fit_is_said_in_hours(self, bench, planned, client, monkeypatch):
        monkeypatch.setattr(timezone, "now", lambda: bench.at)
        for _ in range(20):
            made.another_candidate(bench)
        client.force_login(bench.manager)
        page = client.get(
            reverse("cohort-detail", args=[bench.cohort.pk]), {"sessions": 2, "minutes": 60}
        ).text
        assert "It won’t fit" in page
        assert "2 h left" in page.replace("\N{NARROW NO-BREAK SPACE}", " ")
        page = client.get(reverse("cohort-detail", args=[bench.cohort.pk]), {"sessions": 400}).text
        assert "It fits" in page

    def test_sessions_are_counted_on_as_they_were(self, bench):
        cohort = cohorts.open_cohort(
            centre=bench.centre,
            name="Six weeks",
            starts_on=bench.at.date(),
            ends_on=bench.at.date() + 56 * DAY,
            by=bench.manager,
            at=bench.at,
        )
        found = cohort_progress.sessions_to_come(centre=bench.centre, cohort=cohort, on=bench.at.date())
        assert found == 2  # one in the last four weeks, eight weeks to go

    def test_figures_that_make_no_sense_are_said_beside_them(self, bench, planned, client, monkeypatch):
        monkeypatch.setattr(timezone, "now", lambda: bench.at)
        client.force_login(bench.manager)
        response = client.get(reverse("cohort-detail", args=[bench.cohort.pk]), {"sessions": "many"})
        assert response.status_code == 200
        assert "Enter a whole number" in response.text


def test_evidence_ages_by_its_newest(bench, planned):
    made.signed_off(bench)
    ages = cohort_rates.evidence_ages(looked_up(bench), limit=bench.at.date())
    assert all((each.shown_by, each.oldest, each.too_old) == (1, bench.at.date(), 0) for each in ages)
    ages = cohort_rates.evidence_ages(looked_up(bench), limit=bench.at.date() + DAY)
    assert all(each.too_old == 1 for each in ages)
    assert ages


def test_evidence_of_another_cohort_is_none_of_its_own(bench, planned):
    other = CohortFactory(by=bench.manager)
    progress.plan(cohort=other, task=planned, by=bench.manager, at=bench.at)
    stranger = CandidateFactory(by=bench.manager, cohort=other)
    progress.record_prior(
        candidate=stranger,
        task=planned,
        achieved_on=bench.at.date(),
        evidence="Paper record 3.",
        by=bench.assessor,
        at=bench.at,
    )
    both = records(centre=bench.centre, cohorts=[bench.cohort, other], on=bench.at.date())
    for cohort, shown_by in ((bench.cohort, 0), (other, 1)):
        ages = cohort_rates.evidence_ages(both.of_cohort(cohort), limit=bench.at.date())
        assert {each.shown_by for each in ages} == {shown_by}


class TestThePages:
    @pytest.fixture(autouse=True)
    def afterwards(self, bench, monkeypatch):
        monkeypatch.setattr(timezone, "now", lambda: bench.at + 20 * DAY)

    def test_a_cell_leads_to_the_trail(self, client, bench, planned, least):
        made.handed_in(bench, least)
        client.force_login(bench.manager)
        page = client.get(reverse("cohort-matrix")).text
        assert reverse("trail-detail", args=[bench.candidate.pk, planned.pk]) in page
        assert "waits for an assessor since 6 Jan" in page

    @pytest.mark.parametrize(
        ("show", "found"), [("stuck", 1), ("stalled", 1), ("rig", 0), ("near-end", 0), ("nonsense", 2)]
    )
    def test_filters_leave_those_who_are_like_that(self, client, bench, planned, show, found):
        other = made.another_candidate(bench)
        made.signed_off(bench, candidate=other)
        client.force_login(bench.manager)
        page = client.get(reverse("cohort-matrix"), {"show": show}).text
        shown = sum(reverse("portfolio-detail", args=[each.pk]) in page for each in (bench.candidate, other))
        assert shown == found

    def test_all_at_work_are_shown_together(self, client, bench, planned):
        other = cohorts.open_cohort(
            centre=bench.centre,
            name="Evenings",
            starts_on=bench.at.date(),
            ends_on=bench.at.date() + 30 * DAY,
            by=bench.manager,
            at=bench.at,
        )
        cohorts.add_member(
            cohort=other, person=bench.candidate, on=bench.at.date(), by=bench.manager, at=bench.at
        )
        client.force_login(bench.manager)
        page = client.get(reverse("cohort-matrix"), {"cohort": "all"}).text
        assert "All cohorts at work" in page
        assert page.count(reverse("portfolio-detail", args=[bench.candidate.pk])) == 2
        page = client.get(reverse("cohort-matrix"), {"cohort": "all", "show": "near-end"}).text
        assert "Nobody here is like that." in page  # nothing is planned for the evenings

    def test_the_matrix_and_the_rates_as_files(self, client, bench, planned, least):
        Person.objects.filter(pk=bench.candidate.pk).update(name="=HYPERLINK(1)")
        made.signed_off(bench, least, decision=NOT_YET)
        client.force_login(bench.manager)
        address = reverse("cohort-export")
        text = client.get(address, {"as": "csv"}).content.decode("utf-8-sig")
        header, row = text.splitlines()
        assert header.startswith("candidate,cohort,")
        assert row.startswith("'=HYPERLINK(1),")
        assert ",not-yet-competent,1," in row
        book = load_workbook(BytesIO(client.get(address, {"as": "xlsx"}).content))
        assert book.active["A2"].value == "=HYPERLINK(1)"
        assert book.active["A2"].data_type == "s"
        rates = client.get(address, {"as": "csv", "what": "rates"}).content.decode("utf-8-sig")
        assert ",1,0,0,0,79.3,0,0" in rates

    def test_week_by_week_with_the_figures_behind_it(self, client, bench, planned):
        made.signed_off(bench)
        client.force_login(bench.manager)
        page = client.get(reverse("cohort-weeks")).text
        assert "1 of 1 tasks are done" in page
        assert page.count("<tr>") >= 4

    def test_a_thousand_candidates_cost_as_many_queries_as_ten(self, client, bench, planned, least):
        signed = made.signed_off(bench, least, decision=NOT_YET)
        made.signed_off(bench, least, decision=NOT_YET, at=bench.at + timedelta(hours=1))
        client.force_login(bench.manager)
        many(bench, signed, count=9)
        client.get(reverse("cohort-matrix"))

        def counted():
            with CaptureQueriesContext(connection) as queries:
                page = client.get(reverse("cohort-matrix")).text
            with CaptureQueriesContext(connection) as other:
                client.get(reverse("cohort-detail", args=[bench.cohort.pk]))
            return len(queries), len(other), page

        few = counted()
        many(bench, signed, count=990)
        lots = counted()
        assert few[:2] == lots[:2]
        assert "1000 candidates" in lots[2]
        assert "Page 1 of 20" in lots[2]


def many(bench, signed, *, count):
    """So many more members, each with an attempt like the one that was signed off."""
    start = Person.objects.count()
    people = Person.objects.bulk_create(
        Person(name=f"C-{start + number}", email=f"c{start + number}@example.org", centre=bench.centre)
        for number in range(count)
    )
    Membership.objects.bulk_create(
        Membership(cohort=bench.cohort, person=person, joined_on=date(2025, 1, 6)) for person in people
    )
    attempts, signatures = [], []
    at = datetime.combine(date(2025, 1, 7), time(10), tzinfo=bench.at.tzinfo)
    for person in people:
        attempt = Attempt.objects.get(pk=signed.attempt_id)
        attempt.pk, attempt.candidate, attempt.started_at, attempt.submitted_at = None, person, at, at
        attempt._state.adding = True
        attempt.id = Attempt().id
        attempts.append(attempt)
        signatures.append(
            SignOff(
                attempt=attempt,
                outcome_id=signed.outcome_id,
                assessor=bench.assessor,
                decision=NOT_YET,
                feedback="Again.",
                salt="0" * 64,
                at=at,
            )
        )
    Attempt.objects.bulk_create(attempts)
    SignOff.objects.bulk_create(signatures)

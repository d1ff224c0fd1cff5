"""Log sheets: printed without a rig's answers, typed in as written, never as if the site had been there."""

import io
import json
from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from academy import people
from academy.models import LedgerEntry
from academy.refusals import Refused
from assessments import attempts, flags, log_sheets, outcomes, transcription
from assessments.marking.results import FindingKind
from assessments.models import Attempt, Reading, Step, StepRecord
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.decisions import Decision
from assessments.transcription import Line, in_order
from tests.factories import assessments as made
from tests.factories import fault_finding
from tests.factories.academy import (
    AssessorFactory,
    CandidateFactory,
    ManagerFactory,
    TechnicianFactory,
    VerifierFactory,
)

DAY = date(2025, 1, 6)
PASSWORD = "seven wet flanges"


# --- Order -----------------------------------------------------------------------------------------


def lines(*written: str) -> list[Line]:
    return [
        Line(key=f"s{n}", id=uuid4(), step=Step(position=n, title=f"Step {n}"), written=text)
        for n, text in enumerate(written, start=1)
    ]


def order(*written: str) -> list[int]:
    return [line.step.position for line in in_order(lines(*written))]


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        (("", "", ""), [1, 2, 3]),
        (("10:42", "10:40", "10:45"), [2, 1, 3]),
        (("2", "3", "1"), [3, 1, 2]),
        (("9.58", "10:02", "10:01"), [1, 3, 2]),
        (("", "2", "", "1"), [1, 4, 2, 3]),
        (("10:40", "10:40", "10:39"), [3, 1, 2]),
    ],
)
def test_lines_stand_in_the_order_of_what_is_written_beside_them(written, expected):
    assert order(*written) == expected


@pytest.mark.parametrize(
    ("written", "field", "said"),
    [
        (("10:42", "3"), "s2_written", "Some lines have a time and others a number"),
        (("3", "3"), "s2_written", "The number 3 stands twice"),
        (("soon",), "s1_written", "“soon” is neither a time"),
        (("25:10",), "s1_written", "“25:10” is neither a time"),
        (("0",), "s1_written", "“0” is neither a time"),
    ],
)
def test_an_order_that_cannot_be_told_is_refused_beside_its_line(written, field, said):
    with pytest.raises(Refused, match=said) as refused:
        order(*written)

    assert refused.value.field == field


@given(st.lists(st.times().map(lambda at: f"{at:%H:%M}"), max_size=12))
def test_every_line_stays_whatever_the_times(written):
    assert sorted(order(*written)) == list(range(1, len(written) + 1))


# --- Typing in ---------------------------------------------------------------------------------------


@pytest.fixture
def noon(bench, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: bench.at + timedelta(hours=2))


def signed_in(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def address(attempt) -> str:
    return reverse("sheet-transcribe", args=[attempt.pk])


def filled_in(attempt, work: made.Work = made.ALL_WELL, **changes: str) -> dict[str, str]:
    """The form of a whole sheet, filled in as it was worked."""
    data = {"observed_on": DAY.isoformat()}
    for step in attempt.version.steps.select_related("measurand__test_point", "measurand__condition"):
        key = f"s{step.position}"
        data[f"{key}_id"] = str(uuid4())
        if step.slug in work.skipped:
            continue
        match step.kind:
            case "action":
                data[f"{key}_done"] = "on"
            case "reading":
                data |= reading(key, work.readings.get(step.slug) or made.right_reading(attempt, step), step)
            case "observation" | "conclusion":
                data[f"{key}_answer"] = next(iter(step.expected), "")
                if step.kind == "conclusion":
                    data[f"{key}_note"] = work.reason
    return data | changes


def reading(key: str, text: str, step) -> dict[str, str]:
    if step.judged_by == "tone":
        return {f"{key}_qualifier": "tone"}
    unit = {"pressure": "mbar", "resistance": "Ω", "voltage": "V"}[step.quantity]
    if text == "OL":
        return {f"{key}_text": "", f"{key}_unit": unit, f"{key}_qualifier": "over-limit"}
    return {f"{key}_text": text, f"{key}_unit": unit}


def key_of(attempt, slug: str) -> str:
    return f"s{attempt.version.steps.get(slug=slug).position}"


@pytest.mark.django_db
@pytest.mark.usefixtures("noon")
class TestTypingIn:
    def test_a_whole_sheet_is_logged_by_whom_and_of_which_day(self, bench):
        attempt = made.started(bench)
        response = signed_in(bench.assessor).post(address(attempt), filled_in(attempt), follow=True)

        assert response.redirect_chain == [(reverse("sheet-list"), 302)]
        assert "The log sheet is kept. The candidate hands it in." in response.text
        attempt.refresh_from_db()
        assert (attempt.transcribed_by, attempt.observed_on) == (bench.assessor, DAY)
        assert attempt.status == AttemptStatus.OPEN
        unlogged = attempt.version.steps.exclude(kind="photo").count() - (
            attempt.readings.count() + attempt.records.count()
        )
        assert unlogged == 0
        assert all(entry.on_paper for entry in (*attempt.readings.all(), *attempt.records.all()))

    def test_it_marks_as_the_same_work_at_the_bench_does(self, bench):
        attempt = made.started(bench)
        signed_in(bench.candidate).post(address(attempt), filled_in(attempt))
        handed = attempts.hand_in(
            attempt=attempt, candidate=bench.candidate, at=bench.at + timedelta(hours=2)
        )

        marking = outcomes.marking_of(outcomes.latest(handed))
        assert {finding.kind for finding in marking.procedure.findings} <= {FindingKind.MISSING}  # photos
        assert {str(mark.verdict) for mark in marking.marks} == {"in-range"}

    def test_who_typed_it_in_is_in_the_ledger_with_what_was_typed(self, bench):
        attempt = made.started(bench)
        signed_in(bench.assessor).post(address(attempt), filled_in(attempt))

        (entry,) = LedgerEntry.objects.filter(verb="attempt.transcribe")
        assert entry.actor == bench.assessor.pk
        typed = attempt.readings.count() + attempt.records.count()
        facts = json.loads(entry.body)["facts"]
        assert (facts["observed_on"], facts["entries"]) == ("2025-01-06", str(typed))

    def test_sending_it_twice_stores_it_once(self, bench):
        attempt, client = made.started(bench), signed_in(bench.candidate)
        data = filled_in(attempt)
        first = client.post(address(attempt), data)
        counts = Reading.objects.count(), StepRecord.objects.count()
        again = client.post(address(attempt), data)

        assert first.status_code == again.status_code == 302
        assert (Reading.objects.count(), StepRecord.objects.count()) == counts
        assert LedgerEntry.objects.filter(verb="attempt.transcribe").count() == 1

    def test_the_rest_can_be_typed_in_later_and_what_stands_is_left_alone(self, bench):
        attempt, client = made.started(bench), signed_in(bench.candidate)
        first = attempt.version.steps.filter(kind="action")[0]
        key = f"s{first.position}"
        client.post(
            address(attempt),
            {"observed_on": DAY.isoformat(), f"{key}_id": str(uuid4()), f"{key}_done": "on"},
        )
        assert "Logged on the site already." in client.get(address(attempt)).text
        assert client.post(address(attempt), filled_in(attempt)).status_code == 302

        assert attempt.records.filter(step=first).count() == 1
        assert attempt.readings.exists()

    def test_errors_stand_beside_their_fields_and_nothing_is_lost(self, bench):
        attempt = made.started(bench)
        ports = key_of(attempt, "ports-running")
        data = filled_in(attempt, **{f"{ports}_text": "about one", f"{ports}_written": "10:42"})
        page = signed_in(bench.candidate).post(address(attempt), data)

        assert page.status_code == 200
        assert list(page.context["form"].errors) == [f"{ports}_text"]
        assert 'value="about one"' in page.text
        assert 'value="10:42"' in page.text
        assert not Reading.objects.exists()
        attempt.refresh_from_db()
        assert attempt.transcribed_by is None

    def test_the_order_on_the_paper_counts(self, bench):
        attempt = made.started(bench)
        steps = list(attempt.version.steps.exclude(kind="photo"))
        late = next(step for step in steps if step.safety_critical)
        numbers = {f"s{step.position}_written": str(900 if step == late else step.position) for step in steps}
        signed_in(bench.candidate).post(address(attempt), filled_in(attempt) | numbers)
        handed = attempts.hand_in(
            attempt=attempt, candidate=bench.candidate, at=bench.at + timedelta(hours=2)
        )

        found = outcomes.marking_of(outcomes.latest(handed)).procedure.findings
        assert (late.slug, FindingKind.OUT_OF_ORDER) in {(each.step, each.kind) for each in found}

    def test_times_are_those_on_the_paper_or_none(self, bench):
        attempt = made.started(bench)
        key = key_of(attempt, "ports-running")
        signed_in(bench.candidate).post(address(attempt), filled_in(attempt, **{f"{key}_written": "10:42"}))

        dated = attempt.readings.get(step__slug="ports-running")
        assert dated.done_at.astimezone(bench.centre.zone).strftime("%d %H:%M") == "06 10:42"
        assert attempt.readings.get(step__slug="contacts-running").done_at is None

    def test_the_review_page_and_the_candidate_see_that_it_was_typed_in(self, bench):
        attempt = made.started(bench)
        signed_in(bench.assessor).post(address(attempt), filled_in(attempt))
        overview = reverse("attempt-overview", args=[attempt.pk])
        assert "the log sheet was typed in by" in signed_in(bench.candidate).get(overview).text

        attempts.hand_in(attempt=attempt, candidate=bench.candidate, at=bench.at + timedelta(hours=2))
        page = signed_in(bench.assessor).get(reverse("review-detail", args=[attempt.pk])).text
        assert "Worked on paper" in page
        assert "From the log sheet." in page
        assert "from the log sheet" in page
        # Nor is it hurried for having been typed in quickly.
        assert not flags.of_attempt(attempt)

    def test_whoever_typed_it_in_may_still_decide(self, bench):
        attempt = made.started(bench)
        signed_in(bench.assessor).post(address(attempt), filled_in(attempt))
        attempts.hand_in(attempt=attempt, candidate=bench.candidate, at=bench.at + timedelta(hours=2))
        people.set_password(person=bench.assessor, password=PASSWORD, by=bench.manager, at=bench.at)
        signed_in(bench.assessor).post(
            reverse("review-detail", args=[attempt.pk]),
            {
                "outcome": outcomes.latest(attempt).pk,
                "decision": Decision.NOT_YET_COMPETENT,
                "feedback": "The photos are missing.",
                "reason": "Photos",
                "confirm-password": PASSWORD,
            },
        )

        attempt.refresh_from_db()
        assert attempt.status == AttemptStatus.SIGNED_OFF

    @pytest.mark.parametrize("role", [AssessorFactory, TechnicianFactory])
    def test_staff_of_the_bench_type_in_anybodys(self, bench, role):
        client = signed_in(role(by=bench.manager))
        attempt = made.started(bench)

        assert str(attempt.candidate) in client.get(reverse("sheet-list")).text
        assert client.post(address(attempt), filled_in(attempt)).status_code == 302

    def test_nobody_else_finds_it(self, bench):
        attempt = made.started(bench)
        others = (
            made.another_candidate(bench),
            VerifierFactory(by=bench.manager),
            bench.manager,
            AssessorFactory(by=ManagerFactory()),
        )
        for person in others:
            client = signed_in(person)
            assert client.get(address(attempt)).status_code == 404
            assert client.post(address(attempt), filled_in(attempt)).status_code == 404
            assert client.get(reverse("sheet-print", args=[attempt.pk])).status_code == 404
        assert not Reading.objects.exists()

    def test_an_empty_sheet_and_a_stray_time_are_refused(self, bench):
        attempt, client = made.started(bench), signed_in(bench.candidate)
        empty = client.post(address(attempt), {"observed_on": DAY.isoformat()})
        stray = client.post(
            address(attempt), {"observed_on": DAY.isoformat(), "s1_id": str(uuid4()), "s1_written": "10:42"}
        )

        assert "Nothing is filled in yet" in empty.text
        assert "has a time or number, but nothing beside it" in stray.text

    def test_a_number_and_a_word_on_one_line_are_asked_about(self, bench):
        attempt = made.started(bench)
        key = key_of(attempt, "contacts-running")
        page = signed_in(bench.candidate).post(
            address(attempt), filled_in(attempt, **{f"{key}_text": "0.4", f"{key}_qualifier": "over-limit"})
        )

        assert "Either a number or a word" in page.text

    def test_a_conclusion_without_its_reason_is_refused_beside_it(self, bench):
        attempt = made.started(bench)
        step = attempt.version.steps.get(kind="conclusion")
        page = signed_in(bench.candidate).post(
            address(attempt), filled_in(attempt, **{f"s{step.position}_note": ""})
        )

        assert "Give the reason" in page.context["form"].errors[f"s{step.position}_note"][0]
        assert not StepRecord.objects.exists()

    def test_an_attempt_that_was_handed_in_takes_no_sheet(self, bench):
        attempt, client = made.handed_in(bench), signed_in(bench.candidate)
        before = Reading.objects.count()

        assert client.get(address(attempt)).status_code == 302
        assert client.post(address(attempt), filled_in(attempt)).status_code == 302
        with pytest.raises(Refused, match="handed in"):
            transcription.transcribe(
                attempt=attempt,
                lines=lines(""),
                observed_on=DAY,
                by=bench.candidate,
                at=bench.at + timedelta(hours=2),
            )
        assert Reading.objects.count() == before


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("purpose", "day", "said"),
    [
        (Purpose.ASSESSMENT, DAY - timedelta(days=1), "This assessment was started on 06 January 2025"),
        (Purpose.PRACTICE, DAY + timedelta(days=1), "still to come"),
        (Purpose.ASSESSMENT, DAY + timedelta(days=1), "still to come"),
    ],
)
def test_work_of_a_day_that_cannot_be_is_refused(bench, purpose, day, said):
    attempt = made.started(bench, purpose=purpose)
    with pytest.raises(Refused, match=said) as refused:
        transcription.transcribe(
            attempt=attempt, lines=[], observed_on=day, by=bench.candidate, at=bench.at + timedelta(hours=1)
        )

    assert refused.value.field == "observed_on"


@pytest.mark.django_db
def test_practice_may_have_been_on_an_earlier_day(bench):
    attempt = made.started(bench, purpose=Purpose.PRACTICE)
    step = attempt.version.steps.filter(kind="action")[0]
    transcription.transcribe(
        attempt=attempt,
        lines=[Line(key="s1", id=uuid4(), step=step)],
        observed_on=DAY - timedelta(days=2),
        by=bench.candidate,
        at=bench.at + timedelta(hours=1),
    )

    attempt.refresh_from_db()
    assert attempt.observed_on == DAY - timedelta(days=2)


@pytest.mark.django_db
def test_somebody_without_the_right_is_refused_by_the_verb_too(bench):
    attempt = made.started(bench)
    with pytest.raises(Refused, match="isn’t yours"):
        transcription.transcribe(
            attempt=attempt,
            lines=[],
            observed_on=DAY,
            by=CandidateFactory(by=bench.manager),
            at=bench.at + timedelta(hours=1),
        )


# --- On paper ----------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_the_sheet_has_every_step_the_cautions_and_the_way_back_but_no_answer(bench):
    attempt = made.started(bench)
    sheet = log_sheets.of_attempt(attempt=attempt, address="https://makepoint.example/x/", at=bench.at)

    assert bench.rig.tag in sheet.html
    assert attempt.candidate.name in sheet.html
    assert "https://makepoint.example/x/" in sheet.html
    for step in attempt.version.steps.all():
        assert step.title.split("’")[0].split("'")[0] in sheet.html
    assert sheet.images["address.png"].startswith(b"\x89PNG")


@pytest.mark.django_db
def test_two_worlds_print_the_same_sheet(bench):
    other = made.ready_bench(running=1.97)
    one, two = (
        log_sheets.of_attempt(attempt=made.started(world), address="https://makepoint.example/", at=world.at)
        for world in (bench, other)
    )

    def masked(sheet, world):
        return sheet.html.replace(world.candidate.name, "C").replace(world.centre.name, "Centre")

    assert masked(one, bench) == masked(two, other)
    assert one.images == two.images
    assert one.stylesheets == two.stylesheets


@pytest.mark.django_db
@pytest.mark.usefixtures("pango", "noon")
def test_it_is_printed_for_its_candidate_and_blank_for_anybody_of_the_centre(bench):
    attempt = made.started(bench)
    blank = reverse("sheet-blank", args=[bench.rig.pk, bench.tasks[made.SWITCH_TEST].pk])
    for where, who in (
        (reverse("sheet-print", args=[attempt.pk]), bench.candidate),
        (blank, bench.technician),
        (blank, made.another_candidate(bench)),
    ):
        response = signed_in(who).get(where)
        assert response["Content-Type"] == "application/pdf"
        pages = PdfReader(io.BytesIO(response.content)).pages
        assert bench.rig.tag in pages[0].extract_text()
    assert signed_in(AssessorFactory(by=ManagerFactory())).get(blank).status_code == 404
    assert Attempt.objects.count() == 1


# --- Measurements of the candidate's own choice ------------------------------------------------------


def measured(attempt, *found: tuple[str, str, str]) -> dict[str, str]:
    """The lines of the step of free measurements: what was read where, and what is written beside it."""
    key = key_of(attempt, "measure")
    data = {"observed_on": DAY.isoformat()}
    for number, (where, text, written) in enumerate(found, start=1):
        point, condition = where.split("/")
        data |= {
            f"{key}_{number}_id": str(uuid4()),
            f"{key}_{number}_test_point": point,
            f"{key}_{number}_condition": condition,
            f"{key}_{number}_text": text,
            f"{key}_{number}_unit": "mbar" if point in {"taps", "ports"} else "Ω",
            f"{key}_{number}_written": written,
        }
    return data


@pytest.fixture
def finding(monkeypatch):
    bench = fault_finding.bench(fault="tubes-crossed")
    monkeypatch.setattr(timezone, "now", lambda: bench.at + timedelta(hours=1))
    return bench


@pytest.mark.django_db
def test_free_measurements_are_typed_in_line_by_line_in_the_order_of_the_paper(finding):
    attempt, client = fault_finding.started(finding), signed_in(finding.candidate)
    data = measured(attempt, ("ports/fan-running", "-1.57", "2"), ("taps/fan-running", "1.58", "1"))

    assert client.post(address(attempt), data).status_code == 302
    assert client.post(address(attempt), data).status_code == 302
    readings = attempt.readings.in_order().values_list("test_point__slug", "condition__slug", "text")
    assert list(readings) == [("taps", "fan-running", "1.58"), ("ports", "fan-running", "-1.57")]


@pytest.mark.django_db
def test_a_line_without_its_place_condition_or_unit_is_asked_about(finding):
    attempt, client = fault_finding.started(finding), signed_in(finding.candidate)
    key = f"{key_of(attempt, 'measure')}_1"
    whole = measured(attempt, ("taps/fan-running", "1.58", ""))
    for missing, said in (("test_point", "where"), ("condition", "condition"), ("unit", "unit")):
        page = client.post(address(attempt), whole | {f"{key}_{missing}": ""})
        (error,) = page.context["form"].errors[f"{key}_{missing}"]
        assert said in error
    assert not attempt.readings.exists()


@pytest.mark.django_db
def test_a_diagnosis_on_paper_rests_on_readings_too(finding):
    attempt, client = fault_finding.started(finding), signed_in(finding.candidate)
    key = key_of(attempt, "diagnosis")
    diagnosis = {f"{key}_id": str(uuid4()), f"{key}_answer": "tubes-crossed", f"{key}_note": "Δp reversed."}
    alone = client.post(address(attempt), {"observed_on": DAY.isoformat()} | diagnosis)
    both = client.post(address(attempt), measured(attempt, ("ports/fan-running", "-1.57", "")) | diagnosis)

    assert "Measure something first" in alone.text
    assert both.status_code == 302
    assert attempt.records.get(step__kind="diagnosis").answer == "tubes-crossed"


@pytest.mark.django_db
def test_the_printed_sheet_of_a_fault_task_tells_nothing_of_the_fault(finding):
    other = fault_finding.bench(running=1.97)
    one, two = (
        log_sheets.of_attempt(
            attempt=fault_finding.started(world), address="https://makepoint.example/", at=world.at
        ).html.replace(world.candidate.name, "C")
        for world in (finding, other)
    )

    assert one.replace(finding.centre.name, "X") == two.replace(other.centre.name, "X")
    assert "Test points: " in one

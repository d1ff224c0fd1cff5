"""The demo's command where nothing is loaded, and the small parts that the loading is made of."""

import socket
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from io import StringIO
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from hypothesis import assume, given
from hypothesis import strategies as st

from academy.models import Centre
from academy.refusals import Refused
from assessments.demo import loading, scenario
from assessments.demo.boards import Boards
from assessments.demo.hands import conclusion
from assessments.demo.playing import play
from assessments.demo.timetable import Timetable, When
from assessments.management.commands import demo
from assessments.models import Attempt
from tests.factories import assessments as made
from tests.factories.academy import ManagerFactory

FIXTURES = settings.ROOT / "fixtures"
NOW = datetime(2026, 3, 29, 12, 0, 10, tzinfo=UTC)
PLAN = scenario.read(FIXTURES / "demo.json")
LONDON = ZoneInfo("Europe/London")


@pytest.mark.django_db
def test_it_stays_out_of_a_database_that_holds_another_centre() -> None:
    ManagerFactory(centre_name="Fenwick Bench School")
    for verb in (
        lambda: loading.load(scenario=PLAN, fixtures=FIXTURES, at=NOW, tell=str),
        lambda: loading.start_over(scenario=PLAN),
    ):
        with pytest.raises(Refused, match="This database holds Fenwick Bench School"):
            verb()
    with pytest.raises(CommandError, match="needs one of its own"):
        call_command("demo", "--no-serve", "--fresh", verbosity=0)
    assert Centre.objects.count() == 1


@pytest.mark.django_db
def test_a_port_that_is_taken_is_told_before_anything_is_loaded() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(CommandError, match=f"^Port {port} can't be used: give another one with --port.$"):
            call_command("demo", "--port", str(port))
    assert not Centre.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_starting_over_empties_the_database_and_removes_its_files() -> None:
    attempt = made.handed_in(made.ready_bench())
    Centre.objects.filter(pk=attempt.rig.centre_id).update(name=PLAN.centre)
    names = [photo.file.name for photo in attempt.photos.all()]
    assert names and all(default_storage.exists(name) for name in names)
    loading.start_over(scenario=PLAN)
    assert not Centre.objects.exists() and not Attempt.objects.exists()
    assert not any(default_storage.exists(name) for name in names)


@pytest.mark.parametrize(
    ("named", "expected"), [("", "http://127.0.0.1:{port}"), ("https://named.example", "before")]
)
def test_its_own_address_is_on_what_it_makes_unless_another_is_given(
    settings, monkeypatch, named, expected
) -> None:
    settings.SITE_ADDRESS = "before"
    monkeypatch.delenv("MAKEPOINT_ADDRESS", raising=False)
    if named:
        monkeypatch.setenv("MAKEPOINT_ADDRESS", named)
    monkeypatch.setattr("academy.background.start_worker", lambda: None)
    monkeypatch.setattr(demo, "create_server", lambda *_args, **_options: SimpleNamespace(run=lambda: None))
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        demo.Command(stdout=StringIO()).serve(PLAN, listening)
        told = settings.SITE_ADDRESS
        assert told == expected.format(port=listening.getsockname()[1])


@pytest.mark.parametrize("port", ["-1", "70000"])
def test_a_port_that_no_machine_has_is_told_in_a_line(port) -> None:
    with pytest.raises(CommandError, match="can't be used"):
        call_command("demo", f"--port={port}")


def test_a_week_and_a_day_are_counted_back_from_this_week_s_monday() -> None:
    timetable = Timetable(now=NOW, zone=LONDON)
    assert timetable.at(When(week=0, day="Mon", clock=time(9, 30))).date() == date(2026, 3, 23)
    assert (
        timetable.at(When(week=-1, day="Fri", clock=time(9, 30))).isoformat() == "2026-03-20T09:30:00+00:00"
    )
    assert timetable.at(When(today=True)) == NOW


@pytest.mark.parametrize(("ago", "day"), [(1, 27), (2, 26), (5, 23), (6, 20)])
def test_working_days_are_counted_back_over_weekends(ago, day) -> None:
    assert Timetable(now=NOW, zone=LONDON).working_day(ago=ago) == date(2026, 3, day)


@given(st.datetimes(timezones=st.just(LONDON), allow_imaginary=False), st.integers(1, 20))
def test_no_past_day_of_a_timetable_is_on_a_weekend(now, ago) -> None:
    assume(date(1900, 1, 1) < now.date() < date(9000, 1, 1))
    timetable = Timetable(now=now, zone=LONDON)
    days = [*timetable.weekdays(since_week=-8), timetable.working_day(ago=ago)]
    assert all(day.weekday() < 5 and day < timetable.today for day in days)
    assert len(days) - 1 >= 40


def test_stories_take_turns_and_what_lies_in_the_future_never_happens() -> None:
    done: list[str] = []

    def story(name: str, minutes: list[int]) -> Iterator[datetime]:
        for each in minutes:
            yield NOW + timedelta(minutes=each)
            done.append(f"{name}{each}")

    play([story("a", [1, 4, 9]), story("b", [2, 3, 5]), story("c", [])], until=NOW + timedelta(minutes=5))
    assert done == ["a1", "b2", "b3", "a4", "b5"]


@pytest.mark.parametrize(
    ("at_rest", "running", "ports", "taps", "concluded"),
    [
        ("OL", "0.5", "1.58", "1.57", "serviceable"),
        ("OL", "35.1", "1.58", "1.57", "faulty"),
        ("0.4", "0.4", "1.58", "1.57", "faulty"),
        ("OL", "OL", "1.58", "1.57", "faulty"),
        ("OL", "OL", "0.92", "1.57", "elsewhere"),
        ("OL", "OL", "-1.58", "1.57", "elsewhere"),
    ],
)
def test_a_candidate_concludes_from_the_sheet_alone(at_rest, running, ports, taps, concluded) -> None:
    written = {
        "leads-together": "0.3",
        "contacts-at-rest": at_rest,
        "contacts-running": running,
        "ports-running": ports,
        "taps-running": taps,
    }
    assert conclusion(written) == concluded


def test_a_rig_is_the_same_all_through_one_session_and_another_in_the_next() -> None:
    boards = Boards(scenario=PLAN, timetable=Timetable(now=NOW, zone=LONDON))
    plan = PLAN.rig("VB-01")
    first, again, next_one = (
        boards.rig(plan, at=NOW - timedelta(days=3, minutes=minutes), half=half)
        for minutes, half in ((0, "morning"), (40, "morning"), (0, "afternoon"))
    )
    assert first == again != next_one


def test_the_scenario_speaks_of_nothing_that_it_does_not_have() -> None:
    people = {each.name for each in PLAN.people} | {PLAN.manager}
    candidates = {name for cohort in PLAN.cohorts for name in cohort.candidates}
    for each in PLAN.attempts:
        assert each.candidate in candidates
        assert each.assessor in people | {""}
        assert PLAN.rig(each.rig) and all(map(PLAN.instrument, each.instruments))
    labels = [each.label for each in PLAN.attempts]
    assert len(labels) == len(set(labels))
    assert {each.person for each in PLAN.sign_ins} <= people | candidates

"""Limits of the tasks: what they say, when they hold, and that a centre confirms them before it assesses."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from academy.models import LedgerEntry
from academy.refusals import Refused
from assessments import attempts, catalogue, limits
from assessments.limits import StatedLimit
from assessments.models import LimitConfirmation, TaskVersion
from tests.factories import assessments as made
from tests.factories.academy import ManagerFactory
from tests.factories.assessments import SWITCH_TEST

PLATE = {
    "slug": "plate",
    "kind": "reading",
    "title": "Against the plate",
    "instruction": "Log it.",
    "instrument_kind": "manometer",
    "quantity": "pressure",
    "judged_by": "conforms",
    "condition": "fan-running",
    "parameters": {
        "lower": 1.0,
        "upper": 2.0,
        "unit": "mbar",
        "source": "A standard (check against your licensed copy)",
        "clause": "table 3",
        "dated": "2019",
    },
}
LIMIT = StatedLimit(source="A standard", clause="", dated="2019", lower=1.0, upper=2.0, unit="mbar")


@pytest.fixture
def bench(db):
    return made.ready_bench()


def with_limit(bench, **changes) -> TaskVersion:
    data = made.data_for(SWITCH_TEST, design="two-terminal-switch-rig")
    *before, conclusion = data["steps"]
    plate = {**PLATE, "parameters": {**PLATE["parameters"], **changes}}
    return catalogue.issue(
        centre=bench.centre,
        data={**data, "steps": [*before, plate, conclusion]},
        by=bench.manager,
        at=bench.at,
    )


def reasons(bench, version) -> list[str]:
    return attempts.why_not_assessed(candidate=bench.candidate, version=version, rig=bench.rig, at=bench.at)


def confirm(bench, version, **changes) -> LimitConfirmation:
    (digest,) = {limits.of_step(step).digest for step in version.steps.filter(judged_by="conforms")}
    given = {"centre": bench.centre, "digest": digest, "compared": True, "by": bench.manager, "at": bench.at}
    return limits.confirm(**given | changes)


class TestWhatALimitIs:
    @pytest.mark.parametrize(
        ("changes", "words"),
        [
            ({}, "1 to 2 mbar"),
            ({"lower": None}, "at most 2 mbar"),
            ({"upper": None}, "at least 1 mbar"),
            ({"unit": "1"}, "1 to 2"),
            ({"lower": -0.5}, "−0.5 to 2 mbar"),
        ],
    )
    def test_it_says_its_figures(self, changes, words):
        assert replace(LIMIT, **changes).figures == words

    @pytest.mark.parametrize(
        "changes",
        [
            {"upper": 2.1},
            {"unit": "Pa"},
            {"source": "Another"},
            {"clause": "table 3"},
            {"dated": "2020"},
            {"applies_from": date(2026, 1, 1)},
            {"applies_until": date(2026, 1, 1)},
        ],
    )
    def test_any_other_figure_source_or_day_makes_another_limit(self, changes):
        assert replace(LIMIT, **changes).digest != LIMIT.digest
        assert replace(LIMIT).digest == LIMIT.digest

    def test_it_holds_from_its_first_to_its_last_day(self):
        first, last = date(2026, 10, 1), date(2027, 3, 31)
        limit = replace(LIMIT, applies_from=first, applies_until=last)
        day = timedelta(days=1)
        held = [limit.holds_on(on) for on in (first - day, first, last, last + day)]
        assert held == [False, True, True, False]


class TestStarting:
    def test_an_unconfirmed_limit_allows_practice_alone_and_says_why(self, bench):
        version = with_limit(bench)
        (reason,) = reasons(bench, version)
        assert reason == (
            "Your centre hasn't confirmed a limit of this task yet "
            "(A standard (check against your licensed copy), table 3)."
        )

    def test_once_it_is_confirmed_the_task_can_be_assessed(self, bench):
        version = with_limit(bench)
        confirm(bench, version)
        assert reasons(bench, version) == []

    def test_a_changed_limit_waits_again(self, bench):
        confirm(bench, with_limit(bench))
        changed = with_limit(bench, upper=2.1)
        assert len(reasons(bench, changed)) == 1

    @pytest.mark.parametrize(
        ("changes", "words"),
        [
            ({"applies_from": "2099-10-01"}, "only applies from 01 October 2099"),
            ({"applies_until": "2001-09-30"}, "ran out on 30 September 2001"),
        ],
    )
    def test_a_limit_of_another_day_is_no_limit_today_confirmed_or_not(self, bench, changes, words):
        version = with_limit(bench, **changes)
        confirm(bench, version)
        (reason,) = reasons(bench, version)
        assert words in reason

    def test_the_start_itself_is_refused_beside_the_purpose(self, bench):
        version = with_limit(bench)
        with pytest.raises(Refused, match="hasn't confirmed a limit") as refusal:
            attempts.start(
                id=LIMIT_ID,
                candidate=bench.candidate,
                version=version,
                rig=bench.rig,
                purpose="assessment",
                chosen=bench.instruments,
                cautions_read=True,
                at=bench.at,
            )
        assert refusal.value.field == "purpose"


LIMIT_ID = "00000000-0000-4000-8000-000000000001"


class TestConfirming:
    def test_who_and_when_are_on_record_and_in_the_ledger(self, bench):
        made_ = confirm(bench, with_limit(bench))
        assert (made_.confirmed_by, made_.confirmed_at) == (bench.manager, bench.at)
        assert "1 to 2 mbar" in made_.text
        entry = LedgerEntry.objects.get(verb="limit.confirm")
        assert entry.centre == bench.centre

    def test_it_is_not_confirmed_unseen(self, bench):
        with pytest.raises(Refused, match="Compare it with the current edition first") as refusal:
            confirm(bench, with_limit(bench), compared=False)
        assert refusal.value.field == "compared"

    def test_the_first_confirmation_stands(self, bench):
        version = with_limit(bench)
        first = confirm(bench, version)
        again = confirm(bench, version, at=bench.at + timedelta(days=1))
        assert again == first and again.confirmed_at == bench.at
        assert LedgerEntry.objects.filter(verb="limit.confirm").count() == 1

    def test_a_limit_that_no_task_has_is_refused(self, bench):
        with pytest.raises(Refused, match="No task in force has this limit"):
            confirm(bench, with_limit(bench), digest="0" * 64)

    def test_another_centre_confirms_for_itself(self, bench):
        version = with_limit(bench)
        with pytest.raises(Refused, match="No task in force has this limit"):
            confirm(bench, version, centre=ManagerFactory().centre)


class TestPages:
    def test_the_manager_sees_what_waits_and_confirms_it(self, bench):
        digest = limits.of_step(with_limit(bench).steps.get(slug="plate")).digest
        client = Client()
        client.force_login(bench.manager)
        page = client.get(reverse("limit-list")).content.decode()
        assert "Waiting to be confirmed" in page and "1 to 2 mbar" in page and "table 3" in page

        address = reverse("limit-confirm", args=[digest])
        unseen = client.post(address, {})
        assert "Compare it with the current edition first, and say so." in unseen.content.decode()
        assert not LimitConfirmation.objects.exists()

        assert client.post(address, {"compared": "on"}).status_code == 302
        page = client.get(reverse("limit-list")).content.decode()
        assert "Waiting to be confirmed" not in page
        assert str(bench.manager) in page

    def test_an_assessor_reads_and_does_not_confirm(self, bench):
        digest = limits.of_step(with_limit(bench).steps.get(slug="plate")).digest
        client = Client()
        client.force_login(bench.assessor)
        page = client.get(reverse("limit-list")).content.decode()
        assert "1 to 2 mbar" in page and reverse("limit-confirm", args=[digest]) not in page
        assert client.post(reverse("limit-confirm", args=[digest]), {"compared": "on"}).status_code == 403

    def test_a_limit_that_does_not_apply_today_is_pointed_out(self, bench):
        with_limit(bench, applies_from="2099-10-01")
        client = Client()
        client.force_login(bench.manager)
        assert "Not applicable today" in client.get(reverse("limit-list")).content.decode()

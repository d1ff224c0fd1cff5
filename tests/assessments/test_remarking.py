"""Marking many attempts again: what is chosen, what is stored, what is said of it."""

import json
import re
from datetime import timedelta
from io import StringIO
from uuid import UUID

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from academy import ledger
from academy.models import Centre, LedgerEntry
from assessments import outcomes, remarking
from assessments.management.commands import remark as command
from assessments.models import Outcome, Reading, Step, TaskContent, TaskVersion
from assessments.models.attempts import Purpose
from assessments.models.decisions import Proposal
from rigs.models import Instrument
from tests.factories import assessments as made
from tests.factories.assessments import SWITCH_TEST, Work

pytestmark = pytest.mark.django_db

LATER = timedelta(days=40)
OUT_OF_RANGE = Work(readings={"ports-running": "1.91"})
CORRECTED = Work(struck={"taps-running": "15.8"}, skipped=frozenset({"leads-tone"}))


@pytest.fixture
def bench():
    return made.ready_bench()


def handed_in(bench, work=made.ALL_WELL, **given):
    return made.handed_in(
        bench, work, candidate=made.another_candidate(bench), purpose=Purpose.PRACTICE, **given
    )


def remark(bench, *attempts, **given):
    return remarking.remark(
        attempts=[attempt.pk for attempt in attempts], centre=bench.centre, at=bench.at + LATER, **given
    )


def misread(attempt, *, pascals=110):
    """Make the record say something else than it did when it was marked."""
    Reading.objects.filter(attempt=attempt, step__slug="ports-running").update(
        text=f"{pascals / 100:.2f}", value=pascals / 100, si_value=float(pascals)
    )


def entries(bench):
    return LedgerEntry.objects.filter(centre=bench.centre, verb="attempt.remark")


class TestABatch:
    def test_what_comes_out_as_it_was_is_left_alone(self, bench):
        attempt = handed_in(bench)

        batch = remark(bench, attempt)

        assert (batch.attempts, batch.stored, batch.changes) == (1, 0, ())
        assert attempt.outcomes.count() == 1
        assert not entries(bench).exists()

    def test_what_comes_out_otherwise_gets_an_outcome_more(self, bench):
        same, other = handed_in(bench), handed_in(bench)
        first = outcomes.latest(other)
        misread(other)

        batch = remark(bench, same, other)

        assert (batch.attempts, batch.stored) == (2, 1)
        assert batch.changes == (
            remarking.Change(attempt=other.pk, before=Proposal.COMPETENT, after=Proposal.NOT_YET_COMPETENT),
        )
        latest = outcomes.latest(other)
        assert (latest.number, latest.proposal, latest.readings) == (2, "not-yet-competent", "not-met")
        assert latest.made_at == bench.at + LATER
        assert latest.inputs_sha256 != first.inputs_sha256
        assert Outcome.objects.get(pk=first.pk).result == first.result

    def test_an_outcome_that_differs_with_the_same_proposal_is_stored_but_no_change(self, bench):
        attempt = handed_in(bench, OUT_OF_RANGE)
        misread(attempt, pascals=192)

        batch = remark(bench, attempt)

        assert (batch.stored, batch.changes) == (1, ())

    def test_another_engine_is_a_reason_to_store(self, bench):
        attempt = handed_in(bench)
        Outcome.objects.update(engine="0")

        assert remark(bench, attempt).stored == 1
        assert remark(bench, attempt).stored == 0

    def test_every_one_is_stored_if_asked_for(self, bench):
        attempts = [handed_in(bench), handed_in(bench)]

        assert remark(bench, *attempts, every=True).stored == 2
        assert [outcomes.latest(each).number for each in attempts] == [2, 2]

    def test_it_gives_to_the_last_byte_what_marking_one_by_one_gives(self, bench):
        attempts = [handed_in(bench, work) for work in (made.ALL_WELL, OUT_OF_RANGE, CORRECTED)]
        faulty = handed_in(bench)
        faulty.fault = bench.rig.fault_settings.create(
            fault=bench.rig.design.faults.get(slug="h-tube-off"), set_by=bench.assessor, set_at=bench.at
        )
        faulty.save(update_fields=["fault"])
        attempts.append(faulty)

        remark(bench, *attempts, every=True)

        for attempt in attempts:
            together = outcomes.latest(attempt)
            alone = outcomes.mark_attempt(attempt=attempt, at=bench.at + LATER)
            for field in ("inputs", "inputs_sha256", "result", "engine", "proposal", "procedure", "readings"):
                assert getattr(together, field) == getattr(alone, field)

    def test_it_has_one_ledger_entry_with_the_digests_and_the_chain_is_sound(self, bench):
        attempts = [handed_in(bench), handed_in(bench)]

        remark(bench, *attempts, every=True)

        facts = json.loads(entries(bench).get().body)["facts"]
        assert facts["outcomes"] == [
            [str(each.pk), latest.inputs_sha256, outcomes.digest(latest.result.encode())]
            for each in attempts
            for latest in [outcomes.latest(each)]
        ]
        assert isinstance(ledger.verify(centre=bench.centre), ledger.Intact)

    def test_more_attempts_take_no_more_queries(self, bench):
        attempts = [handed_in(bench) for _ in range(3)]

        def queries(*some):
            with CaptureQueriesContext(connection) as captured:
                remark(bench, *some, every=True)
            return len(captured)

        assert queries(*attempts) == queries(attempts[0])

    def test_an_attempt_that_was_never_marked_or_is_another_centres_is_passed_over(self, bench):
        unfinished = made.started(bench)
        elsewhere = made.handed_in(made.ready_bench())

        assert remark(bench, unfinished, elsewhere, every=True).attempts == 0
        assert not unfinished.outcomes.exists()

    def test_a_batch_that_is_interrupted_leaves_nothing_behind(self, bench, monkeypatch):
        attempt = handed_in(bench)
        with monkeypatch.context() as patched:
            patched.setattr(remarking, "_log", interrupt)
            with pytest.raises(KeyboardInterrupt):
                remark(bench, attempt, every=True)

        assert attempt.outcomes.count() == 1
        assert remark(bench, attempt, every=True).stored == 1

    def test_a_sign_off_keeps_the_marking_that_it_was_made_on(self, bench):
        signed = made.signed_off(bench)
        misread(signed.attempt)

        remark(bench, signed.attempt)

        signed.refresh_from_db()
        assert signed.outcome.number == 1
        assert outcomes.latest(signed.attempt).number == 2


def interrupt(*_args, **_given):
    raise KeyboardInterrupt


class TestWhatIsChosen:
    def test_the_oldest_come_first_and_open_ones_not_at_all(self, bench):
        later, first = handed_in(bench, at=bench.at + timedelta(hours=1)), handed_in(bench)
        made.started(bench)

        assert remarking.chosen(centre=bench.centre) == [first.pk, later.pk]

    def test_another_centres_are_never_among_them(self, bench):
        assert remarking.chosen(centre=made.ready_bench().centre) == []

    def test_by_rig(self, bench):
        attempt = handed_in(bench)
        other = made.rigs.rig(by=bench.technician, tag="VB-09")

        assert remarking.chosen(centre=bench.centre, rig=bench.rig) == [attempt.pk]
        assert remarking.chosen(centre=bench.centre, rig=other) == []

    def test_by_an_instrument_that_was_used(self, bench):
        attempt = handed_in(bench)
        kept = Instrument.objects.get(centre=bench.centre, tag="MN-01")

        assert remarking.chosen(centre=bench.centre, instrument=bench.instruments["manometer"]) == [
            attempt.pk
        ]
        assert remarking.chosen(centre=bench.centre, instrument=kept) == []

    def test_since_a_day_begins_with_that_day_where_the_centre_is(self, bench):
        attempt = handed_in(bench)
        on = attempt.submitted_at.date()
        # Handed in at a quarter to ten in the morning, UTC: the evening before on Hawaii.
        Centre.objects.update(time_zone="Pacific/Honolulu")
        centre = Centre.objects.get(pk=bench.centre.pk)

        assert remarking.chosen(centre=bench.centre, since=on) == [attempt.pk]
        assert remarking.chosen(centre=bench.centre, since=on + timedelta(days=1)) == []
        assert remarking.chosen(centre=centre, since=on) == []
        assert remarking.chosen(centre=centre, since=on - timedelta(days=1)) == [attempt.pk]


def run(*arguments):
    out = StringIO()
    call_command("remark", *arguments, stdout=out)
    return out.getvalue().splitlines()


class TestTheCommand:
    def test_it_says_which_proposals_changed_and_how(self, bench):
        handed_in(bench)
        other = handed_in(bench)
        misread(other)

        assert run("--rig", "VB-01") == [
            f"{other.pk}: competent → not yet competent",
            "2 attempts marked again: 1 outcome added, 1 with another proposal.",
        ]

    def test_again_nothing_is_left_to_do(self, bench):
        misread(handed_in(bench))
        run("--rig", "VB-01")

        assert run("--rig", "VB-01") == ["1 attempt marked again: 0 outcomes added, 0 with another proposal."]
        assert run("--rig", "VB-01", "--all") == [
            "1 attempt marked again: 1 outcome added, 0 with another proposal."
        ]

    def test_options_narrow_each_other(self, bench):
        handed_in(bench)

        found = run("--rig", "VB-01", "--instrument", "MN-02", "--since", bench.at.date().isoformat())
        assert found[-1].startswith("1 attempt marked again")
        for options in (["--instrument", "MN-01"], ["--rig", "VB-01", "--since", "2099-01-01"]):
            assert run(*options) == ["Nothing that was marked before is among these."]

    def test_batches_have_a_ledger_entry_each_and_an_interruption_keeps_what_is_done(
        self, bench, monkeypatch
    ):
        attempts = [handed_in(bench) for _ in range(3)]
        for attempt in attempts:
            misread(attempt)
        monkeypatch.setattr(remarking, "BATCH", 2)
        with monkeypatch.context() as patched:
            patched.setattr(remarking, "remark", second_time_interrupted(remarking.remark))
            with pytest.raises(CommandError) as stopped:
                run("--rig", "VB-01")

        assert stopped.value.returncode == command.INTERRUPTED
        assert str(stopped.value).startswith("Stopped after 2 of 3 attempts.")
        assert sorted(outcomes.latest(each).number for each in attempts) == [1, 2, 2]
        assert run("--rig", "VB-01")[-1] == (
            "3 attempts marked again: 1 outcome added, 1 with another proposal."
        )
        assert entries(bench).count() == 2

    def test_on_a_terminal_a_line_tells_how_far_it_is(self, bench, monkeypatch):
        class Terminal(StringIO):
            def isatty(self):
                return True

        for _ in range(3):
            handed_in(bench)
        monkeypatch.setattr(remarking, "BATCH", 2)
        out = Terminal()
        call_command("remark", "--rig", "VB-01", stdout=out)

        assert "2 of 3 attempts\r3 of 3 attempts\n" in out.getvalue()

    @pytest.mark.parametrize(
        ("arguments", "message"),
        [
            ([], "Which attempts?"),
            (["--all"], "Which attempts?"),
            (["--rig", "VB-99"], "There is no rig “VB-99”."),
            (["--instrument", "MN-99"], "There is no instrument “MN-99”."),
            (["--since", "yesterday"], "“yesterday” is not a day"),
            (["--since", "2025-02-30"], "“2025-02-30” is not a day"),
            (["--rig", "VB-01", "--centre", "Nowhere"], "There is no centre “Nowhere”."),
            (["nonsense", "--rig", "VB-01"], "not both"),
        ],
    )
    def test_what_it_cannot_do_is_one_clear_line(self, bench, arguments, message):
        with pytest.raises(CommandError, match=re.escape(message)) as refused:
            run(*arguments)
        assert "\n" not in str(refused.value)

    def test_a_tag_that_two_centres_have_wants_the_centre_named(self, bench):
        other = made.ready_bench()
        handed_in(bench)

        with pytest.raises(CommandError, match="Several centres have “VB-01”"):
            run("--rig", "VB-01")
        assert run("--rig", "VB-01", "--centre", bench.centre.name)[-1].startswith("1 attempt")
        assert run("--rig", "VB-01", "--centre", str(other.centre.pk)) == [
            "Nothing that was marked before is among these."
        ]

    def test_since_a_day_takes_every_centre_in_turn(self, bench):
        other = made.ready_bench()
        for each in (bench, other):
            misread(made.handed_in(each))

        assert run("--since", bench.at.date().isoformat())[-1].startswith("2 attempts")
        assert entries(bench).count() == entries(other).count() == 1


def second_time_interrupted(verb):
    times = []

    def remark(**given):
        times.append(1)
        return verb(**given) if len(times) == 1 else interrupt()

    return remark


class TestOneAttempt:
    def differences(self, attempt):
        out = StringIO()
        with pytest.raises(CommandError, match="differs from a marking made now"):
            call_command("remark", str(attempt.pk), stdout=out)
        return out.getvalue().splitlines()

    def test_a_step_that_was_changed_is_named_with_its_field(self, bench):
        attempt = made.handed_in(bench)
        Step.objects.filter(version=attempt.version, slug="contacts-running").update(title="Something else")

        lines = self.differences(attempt)

        assert (
            "input /steps/contacts-running/title: was 'Contacts, fan running', is 'Something else'" in lines
        )
        assert any(line.startswith("input /steps_sha256: was '") for line in lines)
        assert attempt.outcomes.count() == 1

    def test_what_counts_as_right_cannot_be_changed_without_being_told(self, bench):
        attempt = made.handed_in(bench)
        Step.objects.filter(version=attempt.version, slug="conclusion").update(expected=["faulty"])

        lines = self.differences(attempt)

        assert "input /steps/conclusion/expected/0: was 'serviceable', is 'faulty'" in lines
        assert any(line.startswith("result /conclusion/verdict: was 'met', is 'not-met'") for line in lines)

    @pytest.mark.parametrize("text", ["{}", "no JSON", None])
    def test_with_what_was_issued_changed_too_it_says_that_it_cannot_tell_the_step(self, bench, text):
        attempt = made.handed_in(bench)
        Step.objects.filter(version=attempt.version, slug="isolate").update(title="Something else")
        kept = TaskContent.objects.filter(version=attempt.version)
        kept.delete() if text is None else kept.update(text=text)

        lines = self.differences(attempt)

        assert (
            "input /steps: what they were when they were marked is no longer kept with the task version"
            in lines
        )

    def test_a_reading_more_is_told_as_that_one(self, bench):
        attempt = made.handed_in(bench, Work(skipped=frozenset({"leads-tone"})))
        other = Reading.objects.filter(attempt=attempt, step__slug="leads-together").get()
        other.pk, other.step = UUID(int=7), attempt.version.steps.get(slug="leads-tone")
        other.save(force_insert=True)

        lines = self.differences(attempt)

        (added,) = [line for line in lines if line.startswith("input /readings/")]
        assert added.startswith("input /readings/leads-tone: was absent, is {")

    def test_what_was_issued_is_kept_byte_for_byte(self, bench):
        version = TaskVersion.objects.get(pk=bench.tasks[SWITCH_TEST].pk)

        assert outcomes.digest(version.content.text.encode()) == version.content_sha256

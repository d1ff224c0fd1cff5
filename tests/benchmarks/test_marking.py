"""What the benchmark of marking measures is the real thing, and the other side gives the same answers."""

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from assessments import outcomes
from assessments.gathering import gather
from assessments.marking.mark import mark
from assessments.models import Outcome, Reading
from tests.benchmarks import by_hand, marking, window
from tests.benchmarks.marking import Ratio

pytestmark = pytest.mark.django_db


@pytest.fixture
def opened():
    return window.open_window(readings=150)


def test_a_window_has_whole_attempts_with_readings_of_their_own(opened):
    assert len(opened.attempts) == Outcome.objects.count()
    assert opened.readings == Reading.objects.count() >= 150
    every = gather(opened.attempts)
    assert {len(each.readings) for each in every} == {12}
    assert len({each.reading_at("taps-running").text for each in every}) > 3
    assert len({each.measurand("taps/fan-running").value for each in every}) > 1


def test_marked_together_each_attempt_comes_out_as_by_itself(opened):
    marking.remark(opened.attempts, opened=opened)

    for pk, inputs in zip(opened.attempts, gather(opened.attempts), strict=True):
        added = Outcome.objects.get(attempt=pk, made_at=marking.REMARKED_AT)
        alone = mark(inputs)
        assert outcomes.marking_of(added) == alone
        assert added.proposal == alone.proposal
    verdicts = {each.verdict for pk in opened.attempts for each in mark(gather([pk])[0]).marks}
    assert {"in-range", "out-of-range"} <= verdicts


def test_raw_the_same_rows_are_written(opened):
    marking.remark(opened.attempts, opened=opened)
    written = marking.take_out(opened.attempts)
    assert len(written) == len(opened.attempts)
    assert not Outcome.objects.filter(made_at=marking.REMARKED_AT).exists()

    by_hand.read_hash_write(opened.attempts, written)

    assert marking.take_out(opened.attempts) == written


def test_the_database_is_afterwards_as_it_was(opened):
    before = set(Outcome.objects.values_list("pk", flat=True))

    ratio = marking.remarking_ratio(opened)

    assert set(Outcome.objects.values_list("pk", flat=True)) == before
    assert len(ratio.rounds) == 1  # there is one batch


def test_written_out_by_hand_the_arithmetic_is_the_same():
    columns = by_hand.readings(count=3000)

    found = marking.agreement_by_engine(columns)
    zeta, u, dof, t_in, t_out, lower, upper, code = by_hand.agreement_by_hand(columns)

    assert set(code) == {0, 1, 2}
    np.testing.assert_array_equal(found.code, code)
    for ours, other in zip(
        (found.zeta, found.u, found.dof, found.t_in, found.t_out, found.lower, found.upper),
        (zeta, u, dof, t_in, t_out, lower, upper),
        strict=True,
    ):
        np.testing.assert_allclose(ours, other, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize(
    ("rounds", "said"),
    [
        (((3.0, 2.0),), "1.50 (1.50 to 1.50), goal 2.0"),
        (((3.0, 1.0), (2.0, 1.0), (5.0, 2.0)), "2.50 (2.00 to 3.00), goal 2.0, over"),
    ],
)
def test_a_ratio_over_the_goal_says_so(rounds, said):
    assert str(Ratio(rounds=rounds)) == said


def test_the_command_runs_all_of_it_in_a_database_of_its_own(capfd):
    call_command("benchmark", "marking", "--readings", "60")

    lines = capfd.readouterr().out.splitlines()
    assert [line.partition(",")[0] for line in lines] == [
        "Marking again",
        "Peak memory: " + lines[1].partition(": ")[2].partition(",")[0],
        "In memory",
    ]
    assert all("goal 2.0" in line for line in (lines[0], lines[2]))


@pytest.mark.parametrize("text", ["0", "-5", "many", "1.5"])
def test_readings_are_a_whole_number(text):
    with pytest.raises(CommandError, match="give a whole number above 0"):
        call_command("benchmark", "marking", f"--readings={text}")

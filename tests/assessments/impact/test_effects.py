"""Forty-seven attempts with a manometer that goes low in proportion to time, and what each comes to."""

from collections import Counter
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from assessments.impact.changed_inputs import without_errors
from assessments.impact.effects import changes_between, effect_of
from assessments.marking.mark import mark
from assessments.models.decisions import Proposal
from assessments.models.impact import Effect, ErrorModel
from rigs.metrology.doubt import Doubt, curve_as_found
from rigs.metrology.quantities import Quantity
from tests.factories import marking as made

SINCE = datetime(2025, 1, 1, tzinfo=UTC)
DAYS, ATTEMPTS = 90, 47
TRUTH, LOW = 158.0, 0.07
"""In Pa; and the share of the reading by which it is low at the end."""
DOUBT = Doubt(
    curves={Quantity.PRESSURE: curve_as_found({50.0: -3.5, 100.0: -7.0, 150.0: -10.5, 200.0: -14.0})},
    since=SINCE,
    until=SINCE + timedelta(days=DAYS),
)


def attempt(mbar: float):
    step = made.reading_step("taps", 1, "agrees", measurand="taps/fan-running")
    return made.attempt(step, readings=(made.reading("taps", f"{mbar:.2f}"),))


def proposals(mbar: float, *, day: float):
    """Before, and under each model."""
    inputs = attempt(mbar)
    right = without_errors(inputs, DOUBT, tag="MN-02", values={}, at=SINCE + timedelta(days=day))
    found = {model: Proposal(mark(each).proposal) for model, each in right.by_model.items()}
    return Proposal(mark(inputs).proposal), found


@pytest.fixture(scope="module")
def story():
    """Careful candidates, spread over the time: each writes down what the display shows."""
    rng = np.random.default_rng(5)
    found = []
    for day in np.linspace(1, DAYS - 1, ATTEMPTS):
        shown = (TRUTH + rng.normal(0, 1.0)) * (1 - LOW * day / DAYS) / 100
        before, under = proposals(shown, day=float(day))
        effect = effect_of(
            before=before, as_it_was=before, under_models=[under[ErrorModel.GROWTH]], unknown=False
        )
        found.append((day, before, under[ErrorModel.GROWTH], effect))
    return found


def test_early_ones_are_unaffected_and_late_refusals_should_have_been_in_range(story):
    counted = Counter(effect for *_, effect in story)
    assert sum(counted.values()) == ATTEMPTS
    assert set(counted) == {Effect.UNAFFECTED, Effect.BORDERLINE, Effect.WOULD_BE}
    assert all(effect == Effect.UNAFFECTED for day, *_, effect in story if day < DAYS / 4)
    assert all(effect == Effect.WOULD_BE for day, *_, effect in story if day > DAYS * 0.9)


def test_put_right_by_how_the_error_really_grew_nobody_careful_is_out_of_range(story):
    assert {after for _, _, after, _ in story} == {Proposal.COMPETENT}


def test_the_change_is_told_with_both_verdicts_and_the_figure_put_right():
    inputs = attempt(1.47)
    right = without_errors(inputs, DOUBT, tag="MN-02", values={}, at=SINCE + timedelta(days=DAYS))
    changed = right.by_model[ErrorModel.FULL]

    (change,) = changes_between(mark(inputs), mark(changed), inputs=changed)

    # −7.0 + (147 − 100)/50 · (−3.5) = −10.29 Pa.
    assert (change["read"], change["corrected"]) == ("1.47", "1.573")
    assert (change["before"], change["after"]) == ("out-of-range", "in-range")


def test_another_instrument_is_left_alone():
    inputs = attempt(1.58)
    right = without_errors(inputs, DOUBT, tag="MN-03", values={}, at=SINCE + timedelta(days=DAYS))
    assert all(each is inputs for each in right.by_model.values())


def test_an_error_of_the_rigs_value_moves_the_value_and_not_the_reading():
    inputs = attempt(1.58)
    right = without_errors(
        inputs, DOUBT, tag="MN-01", values={"taps/fan-running": np.array([-11.0, 0.0])}, at=SINCE
    )
    full, growth = right.by_model[ErrorModel.FULL], right.by_model[ErrorModel.GROWTH]
    assert growth is inputs
    assert full.readings == inputs.readings
    assert full.measurand("taps/fan-running").value == pytest.approx(169.0)


C, N, A = Proposal.COMPETENT, Proposal.NOT_YET_COMPETENT, Proposal.ASSESSOR


@pytest.mark.parametrize(
    ("before", "under", "unknown", "effect"),
    [
        (C, (C, C), False, Effect.UNAFFECTED),
        (A, (A,), False, Effect.UNAFFECTED),
        (C, (C, N), False, Effect.WOULD_NOT),
        (C, (A, N), False, Effect.WOULD_NOT),
        (N, (N, C), False, Effect.WOULD_BE),
        (C, (A, C), False, Effect.BORDERLINE),
        (A, (C, N), False, Effect.BORDERLINE),
        (C, (C, C), True, Effect.CANNOT_JUDGE),
        (C, (A, C), True, Effect.CANNOT_JUDGE),
        (C, (N, C), True, Effect.WOULD_NOT),
    ],
)
def test_a_change_of_decision_counts_before_what_is_not_known(before, under, unknown, effect):
    assert effect_of(before=before, as_it_was=before, under_models=under, unknown=unknown) == effect


def test_where_the_same_inputs_are_marked_otherwise_today_nothing_can_be_compared():
    assert effect_of(before=C, as_it_was=N, under_models=[N], unknown=False) == Effect.CANNOT_JUDGE

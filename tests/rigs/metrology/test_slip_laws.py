"""What holds for every calculator, near its worked example."""

import math
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rigs.metrology.computed.calculator import Calculator, Figures
from rigs.metrology.computed.registry import CALCULATORS
from rigs.metrology.samples import SampleError
from rigs.metrology.slips import Answer, Follows, Slip, SlipKind, Unexplained, explain, wrong_ways
from rigs.metrology.uncertainty import rounded
from tests.rigs.metrology.worked_examples import WORKED

DIGITS = 7


def values_of(calculator: Calculator, figures: Figures) -> list[tuple[SlipKind, float]]:
    found = []
    for wrong in wrong_ways(calculator):
        try:
            found.append((wrong.kind, wrong.formula(figures)))
        except (SampleError, ZeroDivisionError):
            continue
    return found


def is_near(one: float, other: float) -> bool:
    """To within the spread of what textbooks take for a Btu, and then some."""
    return math.isclose(one, other, rel_tol=2e-4)


def near(name: str) -> st.SearchStrategy[Figures]:
    """Figures in the neighbourhood of a calculator's worked example."""

    def moved(value: float | tuple[float, ...]) -> st.SearchStrategy:
        if isinstance(value, tuple):
            return st.tuples(*map(moved, value))
        return st.floats(0.9, 1.1).map(lambda factor: value * factor)

    return st.fixed_dictionaries({key: moved(value) for key, value in WORKED[name][0].items()})


def to_digits(value: float, digits: int) -> Answer:
    last = Decimal(1).scaleb(math.floor(math.log10(abs(value))) + 1 - digits)
    return Answer(value=float(rounded(value=value, last=last)), resolution=float(last))


every_calculator = pytest.mark.parametrize("name", CALCULATORS)


@every_calculator
@settings(max_examples=20)
@given(data=st.data(), digits=st.integers(1, 9))
def test_an_answer_rounded_to_its_own_digits_follows(name: str, data: st.DataObject, digits: int) -> None:
    figures = data.draw(near(name))
    computed = CALCULATORS[name].compute(figures)
    assume(computed != 0)
    found = explain(CALCULATORS[name], inputs=figures, answer=to_digits(computed, digits))
    assert isinstance(found, Follows) and found.computed == computed


@every_calculator
@settings(max_examples=20)
@given(data=st.data())
def test_every_slip_is_named(name: str, data: st.DataObject) -> None:
    calculator, figures = CALCULATORS[name], data.draw(near(name))
    given_by = values_of(calculator, figures)
    kind, value = data.draw(st.sampled_from(given_by))
    assume(abs(value) > 1e-9)
    answer = to_digits(value, DIGITS)
    # Unless by chance two ways, or the right one, come to the same digits.
    same = [other for other, it in given_by if is_near(it, value)]
    assume(set(same) == {kind} and not is_near(calculator.compute(figures), value))
    found = explain(calculator, inputs=figures, answer=answer)
    assert isinstance(found, Slip)
    assert found.kind is kind


@every_calculator
@settings(max_examples=20)
@given(data=st.data(), factor=st.floats(-5000, 5000))
def test_an_answer_that_no_slip_comes_to_is_not_explained(
    name: str, data: st.DataObject, factor: float
) -> None:
    calculator, figures = CALCULATORS[name], data.draw(near(name))
    computed = calculator.compute(figures)
    value = factor * computed
    assume(abs(value) > 1e-9)
    assume(not any(is_near(it, value) for _, it in values_of(calculator, figures)))
    assume(not is_near(computed, value))
    found = explain(calculator, inputs=figures, answer=to_digits(value, DIGITS))
    assert isinstance(found, Unexplained) and found.computed == computed


@every_calculator
@settings(max_examples=20)
@given(data=st.data(), decimals=st.integers(0, 3), factor=st.sampled_from([1.0, -1.0, 0.001, 100.0, 1.37]))
def test_a_finer_last_digit_never_turns_what_does_not_follow_into_what_does(
    name: str, data: st.DataObject, decimals: int, factor: float
) -> None:
    calculator, figures = CALCULATORS[name], data.draw(near(name))
    value = factor * calculator.compute(figures)
    coarse, fine = (
        explain(calculator, inputs=figures, answer=Answer(value=value, resolution=10.0**-places))
        for places in (decimals, decimals + 1)
    )
    assert isinstance(coarse, Follows) or not isinstance(fine, Follows)


@every_calculator
def test_slips_are_tried_in_the_order_of_their_kinds(name: str) -> None:
    order = list(SlipKind)
    tried = [order.index(wrong.kind) for wrong in wrong_ways(CALCULATORS[name])]
    assert all(one <= other for one, other in pairwise(tried))

"""Decisions of several assessors on the same attempts, compared."""

import pytest

from assessments.comparing.alike import compare, meaning
from rigs.metrology.samples import SampleError

YES, NO = "competent", "not-yet-competent"


def decided(*groups):
    """So many attempts, each decided like this by the assessors in turn."""
    rows = [verdicts for count, verdicts in groups for _ in range(count)]
    return {
        str(place): dict(zip("ABCDE", verdicts, strict=False)) for place, verdicts in enumerate(rows, start=1)
    }


def test_two_assessors_have_cohens_kappa():
    """24 attempts, 83 % alike: κ is (0.8333 − 0.5868) / (1 − 0.5868), by hand."""
    found = compare(decided((15, (YES, YES)), (5, (NO, NO)), (2, (YES, NO)), (2, (NO, YES))))
    assert (found.alike, found.share.n, found.measure) == (20, 24, "Cohen’s κ")
    assert found.kappa.value == pytest.approx(0.5966, abs=5e-5)
    assert "more than chance, but how much more it hardly says" in meaning(found)


def test_three_have_fleiss_kappa():
    found = compare(decided((6, (YES, YES, YES)), (3, (NO, NO, NO)), (1, (YES, YES, NO))))
    assert (found.alike, found.assessors, found.measure) == (9, 3, "Fleiss’ κ")
    assert 0.7 < found.kappa.value < 1


def test_safety_critical_ones_are_counted_apart():
    found = compare(decided((2, (YES, NO)), (3, (YES, YES))), critical={"2", "5"})
    assert found.differing == ("1", "2")
    assert found.critical == ("2",)


def test_few_attempts_say_little():
    found = compare(decided((6, (YES, YES)), (2, (NO, NO)), (4, (YES, NO))))
    assert "With 12 attempts the interval runs from" in meaning(found)
    assert "it says little" in meaning(found)


def test_all_alike_is_no_proof_of_it():
    found = compare(decided((8, (YES, YES)), (4, (NO, NO))))
    assert found.kappa.value == 1
    assert "at least 76 % would be decided alike" in meaning(found)


def test_one_decision_throughout_has_no_kappa():
    found = compare(decided((12, (YES, YES, YES))))
    assert found.kappa is None
    assert "κ says nothing" in meaning(found)


def test_who_gives_one_decision_throughout_makes_kappa_say_nothing():
    found = compare(decided((8, (YES, YES)), (2, (YES, NO))))
    assert found.kappa is None
    assert meaning(found).startswith("One of the two gave the same decision throughout")


def test_many_attempts_give_a_figure_to_go_by():
    found = compare(decided((120, (YES, YES)), (60, (NO, NO)), (10, (YES, NO)), (10, (NO, YES))))
    assert "about that share was reached" in meaning(found)


@pytest.mark.parametrize(
    "made", [{}, decided((3, (YES,))), decided((1, (YES, NO)))], ids=["no", "one", "few"]
)
def test_with_fewer_than_two_there_is_nothing_to_compare(made):
    assert compare(made) is None


def test_an_attempt_left_out_is_said():
    with pytest.raises(SampleError, match="left an attempt out"):
        compare({"1": {"A": YES, "B": YES}, "2": {"A": YES}})

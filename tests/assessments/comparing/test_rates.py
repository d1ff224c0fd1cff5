"""Shares group beside group, against values that are published or worked out otherwise."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import fisher_exact
from statsmodels.stats.contingency_tables import StratifiedTable
from statsmodels.stats.proportion import confint_proportions_2indep

from assessments.comparing.rates import Decided, answer, holm, rates


def decisions(group, competent, n, *, stratum=0):
    return [Decided(group=group, stratum=stratum, competent=place < competent) for place in range(n)]


def beside(*tables):
    """A beside everybody else; each table is a stratum: competent and n of A, then of the others."""
    made = [
        each
        for stratum, (own, n, theirs, m) in enumerate(tables)
        for each in (*decisions("A", own, n, stratum=stratum), *decisions("B", theirs, m, stratum=stratum))
    ]
    return rates(made).groups[0].beside


@pytest.mark.parametrize("table", [(7, 12, 20, 31), (15, 17, 9, 30), (1, 40, 0, 25)], ids=str)
def test_with_one_stratum_the_interval_is_newcombes(table):
    own, n, theirs, m = table
    found = beside(table)
    lower, upper = confint_proportions_2indep(own, n, theirs, m, compare="diff", method="newcomb")
    assert found.difference == pytest.approx(own / n - theirs / m)
    assert (found.lower, found.upper) == pytest.approx((lower, upper))


@pytest.mark.parametrize("table", [(3, 4, 1, 4), (7, 12, 20, 31), (15, 17, 9, 30)], ids=str)
def test_with_one_stratum_the_exact_test_is_fishers(table):
    own, n, theirs, m = table
    expected = fisher_exact([[own, n - own], [theirs, m - theirs]]).pvalue
    assert beside(table).p == pytest.approx(expected)


def test_with_large_strata_the_exact_test_comes_to_mantel_and_haenszels():
    tables = [(180, 260, 300, 380), (150, 210, 200, 260), (300, 360, 260, 300)]
    two_by_two = [np.array([[own, n - own], [theirs, m - theirs]]) for own, n, theirs, m in tables]
    expected = StratifiedTable(two_by_two).test_null_odds(correction=True).pvalue
    assert beside(*tables).p == pytest.approx(expected, rel=0.1)


def test_mix_alone_makes_nobody_odd():
    """A does the hard task mostly: 60 % against 84 % overall, and yet as everybody else on each."""
    found = beside((45, 90, 5, 10), (9, 10, 81, 90))
    assert found.difference == pytest.approx(0.0)
    assert not found.is_outside
    assert found.p == pytest.approx(1.0)


def test_a_task_that_nobody_else_decided_on_says_nothing():
    assert rates(decisions("A", 5, 5)).groups[0].beside is None
    mixed = [*decisions("A", 5, 5, stratum="alone"), *decisions("A", 3, 6), *decisions("B", 4, 6)]
    first = rates(mixed).groups[0]
    assert (first.share.n, first.beside.n) == (11, 6)


def test_holms_steps():
    """Worked by hand: 0.01·4, 0.02·3, 0.03·2 raised to the one before, 0.04·1 likewise."""
    assert holm([0.04, 0.01, 0.03, 0.02]) == pytest.approx([0.06, 0.04, 0.06, 0.06])


def test_about_one_in_twenty_intervals_misses_when_all_are_alike():
    rng = np.random.default_rng(11)
    missed = looked_at = 0
    for _ in range(150):
        made = [
            Decided(group=f"A-{who}", stratum=task, competent=bool(rng.random() < chance))
            for who in range(4)
            for task, chance in enumerate((0.6, 0.75, 0.9))
            for _ in range(int(rng.integers(4, 15)))
        ]
        found = rates(made)
        looked_at += len(found.compared)
        missed += len(found.outside)
    assert 0.015 < missed / looked_at < 0.075


@given(
    st.lists(
        st.tuples(st.sampled_from("ABC"), st.sampled_from("xyz"), st.booleans()), min_size=1, max_size=60
    ),
    st.randoms(),
)
def test_the_order_changes_nothing_and_the_interval_holds_the_difference(rows, chance):
    made = [Decided(group=group, stratum=stratum, competent=good) for group, stratum, good in rows]
    found = rates(made)
    chance.shuffle(made)
    again = rates(made)
    for each, other in zip(found.groups, again.groups, strict=True):
        assert (each.name, each.competent, each.share) == (other.name, other.competent, other.share)
        assert (each.beside is None) == (other.beside is None)
        if each.beside is not None and other.beside is not None:
            assert each.beside.difference == pytest.approx(other.beside.difference, abs=1e-12)
            assert each.beside.p == pytest.approx(other.beside.p)
            assert -1 <= each.beside.lower <= each.beside.difference + 1e-9
            assert each.beside.difference - 1e-9 <= each.beside.upper <= 1 + 1e-9
            assert 0 < each.beside.p <= each.beside.adjusted_p <= 1


class TestInWords:
    def test_nobody_is_odd(self):
        made = [each for name in "ABCD" for each in decisions(name, 15, 20)]
        assert answer(rates(made), noun="assessor") == (
            "No assessor is the odd one out. Of 4 intervals none leave zero out; about 0.2 would by chance "
            "alone."
        )

    def test_one_is(self):
        made = [each for name in "ABC" for each in decisions(name, 36, 40)]
        said = answer(rates([*made, *decisions("D", 10, 40)]), noun="assessor")
        # Beside the others, D among them, each of A, B and C looks high.
        assert "Of 4 intervals 4 leave zero out" in said
        assert said.startswith("D stands out, even after allowing for 4 assessors having been looked at.")

    def test_two_are_set_against_each_other(self):
        far = rates([*decisions("A", 36, 40), *decisions("B", 10, 40)])
        assert answer(far, noun="rig") == "A and B come out differently; with two, neither is the odd one."
        near = rates([*decisions("A", 36, 40), *decisions("B", 35, 40)])
        assert answer(near, noun="rig") == "A and B don’t come out differently."

    def test_one_alone_has_nobody_to_be_compared_with(self):
        assert "nothing to compare yet" in answer(rates(decisions("A", 3, 4)), noun="rig")

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.marking.observed import Account, Beside, Seen, observed
from assessments.marking.results import StrandVerdict


def account(seen: Seen, *, logged: bool = True, critical: bool = True, step: str = "isolate") -> Account:
    return Account(step=step, title="Isolate", safety_critical=critical, logged=logged, seen=seen)


@pytest.mark.parametrize(
    ("seen", "logged", "beside"),
    [
        (Seen.MET, True, Beside.CONFIRMED),
        (Seen.NOT_MET, True, Beside.CONTRADICTED),  # the candidate says done, the assessor saw it not done
        (Seen.MET, False, Beside.NOT_LOGGED),
        (Seen.NOT_MET, False, Beside.BOTH_SAY_NOT),
        (Seen.NOT_SEEN, True, Beside.NOT_SEEN),
        (Seen.NOT_SEEN, False, Beside.NOT_SEEN),
    ],
)
def test_the_two_accounts_of_a_step_go_together(seen, logged, beside):
    found = account(seen, logged=logged)
    assert found.beside is beside
    assert found.sentence


@pytest.mark.parametrize(
    ("critical", "verdict"),
    [
        ([Seen.MET, Seen.MET], StrandVerdict.MET),
        ([Seen.MET, Seen.NOT_MET], StrandVerdict.NOT_MET),
        ([Seen.MET, Seen.NOT_SEEN], StrandVerdict.TO_DECIDE),
        ([Seen.NOT_MET, Seen.NOT_SEEN], StrandVerdict.NOT_MET),
    ],
)
def test_safety_critical_steps_decide_the_observed_strand(critical, verdict):
    found = observed(account(each) for each in critical)
    assert found is not None and found.verdict is verdict


def test_nothing_seen_is_no_strand():
    assert observed([account(Seen.NOT_SEEN), account(Seen.NOT_SEEN, critical=False)]) is None


def test_a_task_without_safety_critical_steps_is_left_to_the_assessor():
    found = observed([account(Seen.MET, critical=False)])
    assert found is not None and found.verdict is StrandVerdict.TO_DECIDE


def test_other_steps_are_listed_only_where_they_were_seen():
    found = observed(
        [
            account(Seen.NOT_SEEN, step="meter", critical=False),
            account(Seen.NOT_MET, step="tee", critical=False),
            account(Seen.MET),
        ]
    )
    assert found is not None
    assert [each.step for each in found.accounts] == ["isolate", "tee"]
    assert found.not_met == ()


SEEN = st.lists(st.sampled_from(Seen), min_size=1)


@given(SEEN, st.integers(min_value=0))
def test_seeing_one_more_step_not_met_never_makes_it_met(seen, place):
    worse = list(seen)
    worse[place % len(worse)] = Seen.NOT_MET
    found = observed(account(each) for each in worse)
    assert found is not None and found.verdict is StrandVerdict.NOT_MET


@given(SEEN)
def test_what_the_candidate_logged_changes_no_verdict(seen):
    with_, without = (observed(account(each, logged=logged) for each in seen) for logged in (True, False))
    assert (with_ and with_.verdict) == (without and without.verdict)

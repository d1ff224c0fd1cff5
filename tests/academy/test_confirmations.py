"""The password, asked for once a sitting before something is signed."""

from datetime import timedelta

import pytest

from academy import confirmations
from academy.confirmations import Unconfirmed
from tests.factories.academy import AT, ManagerFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def centre():
    return ManagerFactory().centre


@pytest.mark.parametrize(
    ("minutes", "is_fresh"), [(None, False), (0, True), (30, True), (31, False), (-1, False)], ids=str
)
def test_a_sitting_lasts_half_an_hour_from_its_last_signature(centre, minutes, is_fresh):
    """And a time to come, on whatever clock, begins none."""
    confirmed_at = None if minutes is None else AT - timedelta(minutes=minutes)

    assert confirmations.is_fresh(centre=centre, confirmed_at=confirmed_at, at=AT) is is_fresh


def test_how_long_it_lasts_is_the_centres_own(centre):
    centre.sitting_minutes = 5
    with pytest.raises(Unconfirmed, match="your password"):
        confirmations.require_fresh(centre=centre, confirmed_at=AT - timedelta(minutes=6), at=AT)

"""A centre sets for itself how decisions are made there."""

import pytest
from django.urls import reverse

from academy import deciding_values
from academy.models import Centre, LedgerEntry
from academy.refusals import Refused
from tests.factories.academy import AT, ManagerFactory

pytestmark = pytest.mark.django_db

ADDRESS = reverse("deciding-values")


@pytest.fixture
def manager(client):
    manager = ManagerFactory()
    client.force_login(manager)
    return manager


def shown(client) -> dict[str, object]:
    return dict(client.get(ADDRESS).context["form"].initial)


def test_what_is_saved_holds_from_then_on_and_is_in_the_ledger(client, manager):
    client.post(ADDRESS, shown(client) | {"sitting_minutes": "10", "hurried_percent": "40"})

    centre = Centre.objects.get(pk=manager.centre_id)
    assert (centre.sitting_minutes, centre.hurried_percent) == (10, 40)
    assert centre.decide_days == 2
    entry = LedgerEntry.objects.filter(centre=centre).latest("number")
    assert entry.verb == "deciding-values.change"
    assert '"sitting_minutes":"10"' in entry.body


@pytest.mark.parametrize(
    ("name", "value"), [("sitting_minutes", "0"), ("coincidence", "2"), ("decide_days", "x")]
)
def test_a_value_that_makes_no_sense_is_refused_beside_its_field(client, manager, name, value):
    page = client.post(ADDRESS, shown(client) | {name: value})

    assert list(page.context["form"].errors) == [name]
    assert page.context["form"]["same_words_times"].value() == "5"


def test_another_centres_are_not_ones_own_to_set(manager):
    with pytest.raises(Refused, match="own centre"):
        deciding_values.change(centre=ManagerFactory().centre, values={"decide_days": 3}, by=manager, at=AT)


def test_every_value_has_its_field_on_the_page(client, manager):
    assert set(client.get(ADDRESS).context["form"].fields) == set(deciding_values.BETWEEN)

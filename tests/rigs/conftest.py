import pytest
from django.utils import timezone

from academy import ledger
from tests.factories import rigs as make
from tests.factories.academy import AT, ManagerFactory


@pytest.fixture
def manager(db):
    return ManagerFactory()


@pytest.fixture
def bench(db):
    """A two-terminal rig with an approved baseline, people and instruments; what was done to it adds up."""
    made = make.open_bench()
    yield made
    assert isinstance(ledger.verify(centre=made.manager.centre), ledger.Intact)


@pytest.fixture
def morning(monkeypatch):
    """Let the pages be opened on the morning that the factories work on."""
    monkeypatch.setattr(timezone, "now", lambda: AT)
    return AT

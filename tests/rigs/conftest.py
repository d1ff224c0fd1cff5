import pytest

from academy import ledger
from tests.factories import rigs as make
from tests.factories.academy import ManagerFactory


@pytest.fixture
def manager(db):
    return ManagerFactory()


@pytest.fixture
def bench(db):
    """A two-terminal rig with an approved baseline, people and instruments; what was done to it adds up."""
    made = make.open_bench()
    yield made
    assert isinstance(ledger.verify(centre=made.manager.centre), ledger.Intact)

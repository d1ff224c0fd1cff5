import pytest

from assessments import portfolio
from tests.factories import assessments as made


@pytest.fixture
def bench() -> made.Bench:
    return made.ready_bench()


@pytest.fixture
def unset(monkeypatch) -> None:
    """Documents without typesetting, for what isn't about their looks: the HTML as it is."""
    monkeypatch.setattr(portfolio, "pdf_of", lambda document: document.html.encode())

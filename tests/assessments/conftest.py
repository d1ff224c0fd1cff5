import pytest
from django.test import Client
from django.utils import timezone

from assessments import portfolio
from assessments.models import Attempt
from tests.factories import assessments as made
from tests.factories import phone as forms


@pytest.fixture
def bench() -> made.Bench:
    return made.ready_bench()


@pytest.fixture
def unset(monkeypatch) -> None:
    """Documents without typesetting, for what isn't about their looks: the HTML as it is."""
    monkeypatch.setattr(portfolio, "pdf_of", lambda document: document.html.encode())
    monkeypatch.setattr(portfolio, "sign", lambda *, content, **_how: content)


@pytest.fixture
def session_begins(monkeypatch) -> None:
    """The site's clock stands at the beginning of the session."""
    monkeypatch.setattr(timezone, "now", lambda: forms.NOW)


@pytest.fixture
def phone(bench, session_begins) -> Client:
    """The candidate's, signed in."""
    client = Client()
    client.force_login(bench.candidate)
    return client


@pytest.fixture
def attempt(bench, phone) -> Attempt:
    """One that was just started by the form."""
    forms.start(bench, phone)
    return Attempt.objects.get()

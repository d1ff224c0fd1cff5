"""A portfolio asked for on a page, and made in the background."""

import pytest
from django.test import Client
from django.urls import reverse

from academy.models import Job, JobState
from assessments import portfolio, portfolio_jobs
from assessments.models import PortfolioDocument
from assessments.pdf.signature import KeyUnusable
from tests.factories import assessments as made
from tests.factories.portfolios import LATER, plain

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("unset")]


@pytest.fixture
def candidate(bench) -> Client:
    made.signed_off(bench)
    client = Client()
    client.force_login(bench.candidate)
    return client


def ask(client: Client, bench) -> str:
    return client.post(reverse("portfolio-issue", args=[bench.candidate.pk])).headers["Location"]


def test_asking_leads_to_how_far_it_is_and_asking_twice_makes_one_document(
    bench, candidate, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks(execute=True):
        first, second = ask(candidate, bench), ask(candidate, bench)
        assert not PortfolioDocument.objects.exists()  # nobody waits in the request
        page = plain(candidate.get(first).content.decode())
        assert "A portfolio of evidence" in page and 'http-equiv="refresh"' in page
        evidence = candidate.get(reverse("portfolio-own")).content.decode()
        assert "One is being made" in evidence and first in evidence

    assert first == second
    document = PortfolioDocument.objects.get()
    assert reverse("portfolio-download", args=[document.pk]) in candidate.get(first).content.decode()
    assert "One is being made" not in candidate.get(reverse("portfolio-own")).content.decode()


def test_how_far_it_is_is_told_stage_by_stage(bench, candidate):
    job = portfolio_jobs.ask(candidate=bench.candidate, by=bench.candidate, at=bench.at + 3 * LATER)
    told = []

    pk = portfolio_jobs.PORTFOLIO.carry_out(
        job=job, at=bench.at + 3 * LATER, tell=lambda *stage: told.append(stage)
    )

    assert told == [(1, 4), (2, 4), (3, 4), (4, 4)]
    assert PortfolioDocument.objects.get().pk == pk


def test_a_key_that_is_no_use_is_told_to_whoever_asked(
    bench, candidate, monkeypatch, django_capture_on_commit_callbacks
):
    def broken(**_when):
        raise KeyUnusable("/etc/key can’t be read (Permission denied)")

    monkeypatch.setattr(portfolio, "signing_key", broken)
    with django_capture_on_commit_callbacks(execute=True):
        page = ask(candidate, bench)

    assert Job.objects.get().state == JobState.FAILED
    assert "Documents can’t be signed" in plain(candidate.get(page).content.decode())
    assert not PortfolioDocument.objects.exists()

"""What is made in the background: asked for once, done by a worker, and told to whoever asked."""

from datetime import timedelta

import pytest
from django.core.management import call_command
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from academy import jobs
from academy.models import Job, JobState, Role
from academy.refusals import Refused
from tests.factories import jobs as kinds
from tests.factories.academy import AT, ManagerFactory, person_with

MINUTE = timedelta(minutes=1)
IN_DATABASE = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}


@pytest.fixture(autouse=True)
def known_kinds(settings):
    settings.JOB_KINDS = kinds.SETTINGS


@pytest.fixture
def manager(db):
    return ManagerFactory()


def asked(by, *, kind="plain", key="a", at=AT, **given) -> Job:
    return jobs.ask(kind=kind, key=key, given=given, by=by, at=at)


def seen(client, job, *, at, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: at)
    client.force_login(job.asked_by)
    return client.get(reverse("job-detail", args=[job.pk]))


class TestAsking:
    def test_it_is_done_once_what_asked_for_it_is_committed(
        self, manager, django_capture_on_commit_callbacks
    ):
        with django_capture_on_commit_callbacks(execute=True):
            job = asked(manager)
            assert Job.objects.get().state == JobState.WAITING
        job.refresh_from_db()
        assert (job.state, job.made, job.done, job.total) == ("done", str(manager.pk), 2, 3)

    def test_the_same_twice_is_the_same_job_while_it_waits_or_runs(self, manager):
        first = asked(manager)
        assert asked(manager, at=AT + MINUTE) == first
        Job.objects.update(state=JobState.WORKING, heard_at=AT + MINUTE)
        assert asked(manager, at=AT + 2 * MINUTE) == first

    def test_another_key_or_another_person_is_another_job(self, manager):
        other = person_with(Role.Kind.VERIFIER, by=manager)
        assert len({asked(manager).pk, asked(manager, key="b").pk, asked(other).pk}) == 3

    def test_one_that_is_over_is_made_anew(self, manager, django_capture_on_commit_callbacks):
        with django_capture_on_commit_callbacks(execute=True):
            first = asked(manager)
        assert asked(manager) != first

    def test_one_whose_worker_fell_silent_is_given_up_for_a_new_one(self, manager):
        first = asked(manager)
        Job.objects.update(state=JobState.WORKING, heard_at=AT)
        assert asked(manager, at=AT + jobs.SILENT) == first
        second = asked(manager, at=AT + jobs.SILENT + MINUTE)
        first.refresh_from_db()
        assert (second.state, first.state, first.failure) == ("waiting", "failed", "It was stopped half-way.")

    def test_a_kind_that_nobody_knows_is_an_error_at_once(self, manager):
        with pytest.raises(KeyError):
            asked(manager, kind="pancakes")

    def test_the_database_keeps_two_of_the_same_from_waiting(self, manager):
        job = asked(manager)
        with pytest.raises(IntegrityError, match=r"asked_by|the_same_job"), transaction.atomic():
            Job.objects.create(
                centre=job.centre, asked_by=manager, kind=job.kind, key=job.key, asked_at=job.asked_at
            )


class TestWorking:
    def test_what_is_refused_is_told_in_its_own_words(self, manager, django_capture_on_commit_callbacks):
        with django_capture_on_commit_callbacks(execute=True):
            job = asked(manager, end="refused")
        job.refresh_from_db()
        assert (job.state, job.failure) == ("failed", "There is nothing to make it of.")

    def test_what_nobody_foresaw_is_logged_and_told_without_its_insides(
        self, manager, django_capture_on_commit_callbacks, caplog
    ):
        with django_capture_on_commit_callbacks(execute=True):
            job = asked(manager, end="failed")
        job.refresh_from_db()
        assert job.state == "failed" and "ZeroDivision" not in job.failure and str(job.pk) in job.failure
        assert str(job.pk) in caplog.text and "ZeroDivisionError" in caplog.text

    def test_one_that_was_given_up_is_not_begun(self, manager):
        job = asked(manager)
        Job.objects.update(state=JobState.FAILED, failure="It was stopped half-way.", ended_at=AT)
        jobs.work.call(str(job.pk))
        job.refresh_from_db()
        assert (job.state, job.made) == ("failed", "")

    def test_one_that_was_given_up_meanwhile_changes_nothing(self, manager):
        job = asked(manager)
        Job.objects.update(state=JobState.FAILED, failure="It was stopped half-way.", ended_at=AT)
        jobs.progress(job=job, done=1, total=2, at=AT)
        job.refresh_from_db()
        assert job.done == 0


@pytest.mark.django_db(transaction=True)
def test_a_worker_does_what_waits_in_the_database_outside_any_transaction(settings):
    settings.TASKS = IN_DATABASE
    manager = ManagerFactory()
    job = jobs.ask(kind="outside", key="a", given={}, by=manager, at=timezone.now())
    job.refresh_from_db()
    assert job.state == JobState.WAITING
    call_command("db_worker", batch=True, startup_delay=False, verbosity=0)
    job.refresh_from_db()
    assert (job.state, job.failure, job.made) == ("done", "", str(manager.pk))


class TestPage:
    def test_whoever_asked_sees_how_far_it_is_and_the_page_looks_again(self, client, manager, monkeypatch):
        job = asked(manager)
        Job.objects.update(state=JobState.WORKING, done=2, total=5, heard_at=AT)
        page = seen(client, job, at=AT + MINUTE, monkeypatch=monkeypatch).text
        assert "<strong>Step 3</strong> of 5" in page and 'http-equiv="refresh"' in page

    def test_it_is_nobody_else_s(self, client, manager):
        job = asked(manager)
        client.force_login(person_with(Role.Kind.MANAGER, by=manager))
        assert client.get(reverse("job-detail", args=[job.pk])).status_code == 404
        assert client.post(reverse("job-again", args=[job.pk])).status_code == 404

    def test_it_leads_to_what_was_made_and_looks_no_more(
        self, client, manager, monkeypatch, django_capture_on_commit_callbacks
    ):
        with django_capture_on_commit_callbacks(execute=True):
            job = asked(manager)
        page = seen(client, job, at=AT + MINUTE, monkeypatch=monkeypatch).text
        assert f'href="{reverse("person-detail", args=[manager.pk])}"' in page
        assert "http-equiv" not in page

    def test_a_failure_is_told_and_it_can_be_asked_for_again(
        self, client, manager, monkeypatch, django_capture_on_commit_callbacks
    ):
        with django_capture_on_commit_callbacks(execute=True):
            job = asked(manager, end="refused")
        page = seen(client, job, at=AT + MINUTE, monkeypatch=monkeypatch).text
        assert "There is nothing to make it of." in page
        response = client.post(reverse("job-again", args=[job.pk]))
        again = Job.objects.exclude(pk=job.pk).get()
        assert response.url == reverse("job-detail", args=[again.pk])
        assert (again.given, again.state) == ({"end": "refused"}, "waiting")

    def test_without_a_worker_it_says_so(self, client, manager, monkeypatch):
        job = asked(manager)
        assert "next in line" in seen(client, job, at=AT, monkeypatch=monkeypatch).text
        page = seen(client, job, at=AT + MINUTE, monkeypatch=monkeypatch).text
        assert "the worker doesn’t seem to run" in page and 'http-equiv="refresh"' in page

    def test_a_worker_that_is_busy_with_another_is_not_taken_for_dead(self, client, manager, monkeypatch):
        job = asked(manager)
        other = asked(manager, key="b")
        Job.objects.filter(pk=other.pk).update(state=JobState.WORKING, heard_at=AT)
        assert "next in line" in seen(client, job, at=AT + MINUTE, monkeypatch=monkeypatch).text

    def test_one_that_fell_silent_is_asked_for_anew(self, client, manager, monkeypatch):
        job = asked(manager)
        Job.objects.update(state=JobState.WORKING, heard_at=AT)
        page = seen(client, job, at=AT + jobs.SILENT + MINUTE, monkeypatch=monkeypatch).text
        assert "Nothing has been heard of it" in page and "http-equiv" not in page
        client.post(reverse("job-again", args=[job.pk]))
        assert Job.objects.filter(state=JobState.WAITING).count() == 1

    def test_one_that_is_done_is_not_made_again(self, client, manager, django_capture_on_commit_callbacks):
        with django_capture_on_commit_callbacks(execute=True):
            job = asked(manager)
        client.force_login(manager)
        assert client.post(reverse("job-again", args=[job.pk])).url == reverse("job-detail", args=[job.pk])
        assert Job.objects.count() == 1


def test_somebody_without_a_centre_is_refused(db):
    manager = ManagerFactory()
    manager.centre = None
    with pytest.raises(Refused, match="of a centre"):
        asked(manager)

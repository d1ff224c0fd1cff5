"""Work in the background: asked for with `ask`, done by a worker (`manage.py db_worker`), seen on a page.

A kind of job is a `Kind`, found under its name in ``JOB_KINDS``. What it does is a function of its own, given
the job, the time, and something to tell how far it has come; it opens its own transactions, as short as they
can be, and returns the id of what it made. What it refuses is told to whoever asked.
"""

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol
from uuid import UUID

from django.conf import settings
from django.db import models, transaction
from django.utils import timezone
from django.utils.module_loading import import_string
from django_tasks import task

from academy import ledger
from academy.models import Job, JobState, Person
from academy.refusals import Refused

log = logging.getLogger(__name__)

SILENT = timedelta(minutes=10)
"""Nobody works on a job that was silent for so long: its worker was stopped in the middle of it."""
UNSEEN = timedelta(seconds=30)
"""A worker that runs, and is busy with nothing else, has taken up a job long before that."""


class CarryOut(Protocol):
    """Does a job. Returns the id of what it made."""

    def __call__(self, *, job: Job, at: datetime, tell: "Tell") -> UUID: ...


Tell = Callable[[int, int], None]
"""Is told how many steps are done, of how many."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """``title`` names what is made; ``result`` is the URL name of its page or file, by the id of it."""

    title: str
    carry_out: CarryOut
    result: str


def kind_of(name: str) -> Kind:
    kind = import_string(settings.JOB_KINDS[name])
    assert isinstance(kind, Kind)
    return kind


@transaction.atomic
def ask(*, kind: str, key: str, given: Mapping[str, str], by: Person, at: datetime) -> Job:
    """Have a job done. Whoever asks for the same again while it waits or runs gets the one that there is."""
    kind_of(kind)
    if by.centre is None:
        raise Refused("Only somebody of a centre can ask for that.")
    ledger.lock(centre=by.centre)  # two who ask at once: the second finds what the first has asked for
    known = Job.objects.of(by).unfinished().filter(kind=kind, key=key).first()
    if known is not None and not is_silent(known, at=at):
        return known
    if known is not None:
        _stop(known, at=at)
    job = Job.objects.create(
        centre=by.centre, asked_by=by, kind=kind, key=key, given=dict(given), asked_at=at
    )
    # Once it is committed: a worker, or a test that has none, looks it up at once.
    transaction.on_commit(lambda: _enqueue(job))
    return job


def ask_again(*, job: Job, at: datetime) -> Job:
    """Have one done anew that failed or fell silent."""
    return ask(kind=job.kind, key=job.key, given=job.given, by=job.asked_by, at=at)


def progress(*, job: Job, done: int, total: int, at: datetime) -> None:
    """Note how far it has come. One that was given up meanwhile takes no notice."""
    _working(job.pk).update(done=done, total=total, heard_at=at)


def is_silent(job: Job, *, at: datetime) -> bool:
    """Whether nobody can be at it any more, though it isn't over."""
    if job.state not in {JobState.WAITING, JobState.WORKING}:
        return False
    return at - (job.heard_at or job.asked_at) > SILENT


def is_unseen(job: Job, *, at: datetime) -> bool:
    """Whether it waits although no worker is busy with something else: none seems to run."""
    if job.state != JobState.WAITING or at - job.asked_at <= UNSEEN:
        return False
    return not Job.objects.filter(state=JobState.WORKING, heard_at__gt=at - SILENT).exists()


@task()
def work(job_id: str) -> None:
    """Do a job that waits. What the worker calls."""
    job = _begun(UUID(job_id), at=_now())
    if job is None:
        return  # it was given up, and asked for anew
    try:
        made = kind_of(job.kind).carry_out(
            job=job,
            at=_now(),
            tell=lambda done, total: progress(job=job, done=done, total=total, at=_now()),
        )
    except Refused as refusal:
        _end(job, failure=refusal.message, at=_now())
    except Exception:
        log.exception("Job %s failed", job.pk)
        _end(job, failure=_unforeseen(job), at=_now())
    else:
        _end(job, made=str(made), at=_now())


def _enqueue(job: Job) -> None:
    work.enqueue(str(job.pk))


def _begun(pk: UUID, *, at: datetime) -> Job | None:
    waiting = Job.objects.filter(pk=pk, state=JobState.WAITING)
    if not waiting.update(state=JobState.WORKING, heard_at=at):
        return None
    return Job.objects.select_related("asked_by__centre", "centre").get(pk=pk)


def _working(pk: UUID) -> models.QuerySet[Job]:
    return Job.objects.filter(pk=pk, state=JobState.WORKING)


def _end(job: Job, *, at: datetime, made: str = "", failure: str = "") -> None:
    state = JobState.FAILED if failure else JobState.DONE
    _working(job.pk).update(state=state, made=made, failure=failure, heard_at=at, ended_at=at)


def _stop(job: Job, *, at: datetime) -> None:
    job.state, job.failure, job.ended_at = JobState.FAILED, "It was stopped half-way.", at
    job.save(update_fields=["state", "failure", "ended_at"])


def _unforeseen(job: Job) -> str:
    return (
        "Something went wrong that nobody had foreseen. Ask for it again; if it happens twice, tell whoever "
        f"looks after this site that it is in the log as job {job.pk}."
    )


def _now() -> datetime:
    return timezone.now()  # noqa: TID251 (a worker is an edge: it hands the time down from here)

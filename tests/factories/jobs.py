"""Kinds of job that tests ask for. What each is to do is in what it is given."""

from datetime import datetime
from uuid import UUID

from django.db import connection

from academy.jobs import Kind, Tell
from academy.models import Job
from academy.refusals import Refused


def carry_out(*, job: Job, at: datetime, tell: Tell) -> UUID:
    """Go two steps of three, then end as it was given: refused, failed, or with the id of a person."""
    tell(2, 3)
    match job.given.get("end"):
        case "refused":
            raise Refused("There is nothing to make it of.")
        case "failed":
            raise ZeroDivisionError
    return job.asked_by_id


def outside_transactions(*, job: Job, at: datetime, tell: Tell) -> UUID:
    """Refuse to work inside a transaction."""
    if connection.in_atomic_block:
        raise Refused("This is inside a transaction.")
    return job.asked_by_id


PLAIN = Kind(title="A list of people", carry_out=carry_out, result="person-detail")
OUTSIDE = Kind(title="Made outside", carry_out=outside_transactions, result="person-detail")
SETTINGS = {"plain": "tests.factories.jobs.PLAIN", "outside": "tests.factories.jobs.OUTSIDE"}

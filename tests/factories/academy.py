"""Centres and people, made by the same verbs that the site uses. Nobody here is real."""

from datetime import UTC, date, datetime
from typing import Any

import factory
from django.test import Client

from academy import cohorts, people
from academy.models import Cohort, Person, Role
from academy.views.confirming import KEPT_AS

# Long enough ago that what began then is in force today.
DAY = date(2025, 1, 6)
AT = datetime(2025, 1, 6, 9, tzinfo=UTC)
FAR_DAY = date(2099, 12, 31)


class VerbFactory(factory.Factory):
    """Makes its object by calling a verb."""

    class Meta:
        abstract = True

    at = AT


class ManagerFactory(VerbFactory):
    """The first manager of a centre of their own."""

    class Meta:
        model = Person

    class Params:
        centre_name = factory.Sequence("Centre {}".format)

    name = factory.LazyAttribute(lambda made: made.centre_name)
    time_zone = "UTC"
    manager_name = factory.Sequence("Manager {}".format)
    manager_email = factory.Sequence("manager-{}@example.org".format)
    password = None

    @classmethod
    def _create(cls, _model: type[Person], *_args: Any, **given: Any) -> Person:
        return people.open_centre(**given)


class PersonFactory(VerbFactory):
    """A person at the centre of `by`, with the roles of `kinds`; none unless given."""

    class Meta:
        model = Person

    by = factory.SubFactory(ManagerFactory)
    centre = factory.LazyAttribute(lambda made: made.by.centre)
    name = factory.Sequence("Person {}".format)
    email = factory.Sequence("person-{}@example.org".format)
    kinds: tuple[Role.Kind, ...] = ()
    cohort = None
    password = None
    on = DAY
    until = None

    @classmethod
    def _create(cls, _model: type[Person], *_args: Any, **given: Any) -> Person:
        return people.add_person(**given)


class CandidateFactory(PersonFactory):
    kinds = (Role.Kind.CANDIDATE,)


class AssessorFactory(PersonFactory):
    kinds = (Role.Kind.ASSESSOR,)


class VerifierFactory(PersonFactory):
    kinds = (Role.Kind.VERIFIER,)


class ExternalVerifierFactory(PersonFactory):
    kinds = (Role.Kind.EXTERNAL_VERIFIER,)
    until = FAR_DAY


class TechnicianFactory(PersonFactory):
    kinds = (Role.Kind.TECHNICIAN,)


class CohortFactory(VerbFactory):
    class Meta:
        model = Cohort

    by = factory.SubFactory(ManagerFactory)
    centre = factory.LazyAttribute(lambda made: made.by.centre)
    name = factory.Sequence("Cohort {}".format)
    starts_on = DAY
    ends_on = FAR_DAY

    @classmethod
    def _create(cls, _model: type[Cohort], *_args: Any, **given: Any) -> Cohort:
        return cohorts.open_cohort(**given)


def person_with(kind: Role.Kind, *, by: Person) -> Person:
    """Make a person at the centre of `by` who holds that one role."""
    until = FAR_DAY if kind == Role.Kind.EXTERNAL_VERIFIER else None
    person: Person = PersonFactory(by=by, kinds=(kind,), until=until)
    return person


def in_a_sitting(person: Person, *, at: datetime) -> Client:
    """Signed in, and in the midst of a sitting."""
    client = Client()
    client.force_login(person)
    session = client.session
    session[KEPT_AS] = at.isoformat()
    session.save()
    return client

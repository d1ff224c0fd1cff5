from datetime import UTC, date, datetime, timedelta

import pytest
from django.contrib.auth.models import AnonymousUser

from academy import people
from academy.models import Role
from academy.permissions import ROLE_PERMISSIONS, Permission, permissions_of
from tests.factories.academy import DAY, FAR_DAY, ManagerFactory, PersonFactory, person_with

pytestmark = pytest.mark.django_db

# The ladder: who may do what at all. A letter each: candidate, assessor, internal verifier, external
# verifier, technician, manager. Written out a second time on purpose: a change to one must be meant in the
# other.
KINDS = (
    Role.Kind.CANDIDATE,
    Role.Kind.ASSESSOR,
    Role.Kind.VERIFIER,
    Role.Kind.EXTERNAL_VERIFIER,
    Role.Kind.TECHNICIAN,
    Role.Kind.MANAGER,
)
LADDER = {
    "attempt.work": "C.....",  # nobody answers for a candidate
    "attempt.read": ".AV..M",
    "attempt.transcribe": ".A..T.",  # a log sheet of anybody's; a candidate types in their own
    "attempt.decide": ".A....",  # a manager decides only as an assessor too
    "portfolio.read": "CAV..M",
    "session.read": ".AV.TM",  # who is where, and how far: nothing of what a rig reads
    "session.plan": ".A...M",
    "session.stop": ".A..TM",  # whoever of the staff stands in the room
    "prior.record": ".A...M",
    "appeal.read": ".AV..M",
    "appeal.decide": "..V..M",  # never whoever decided, which the verb sees to
    "resit.allow": ".A...M",
    "adjustment.agree": ".A...M",
    "conflict.declare": ".AV..M",  # one's own, and a manager anybody's
    "scope.manage": ".....M",
    "rig.read": ".AV.TM",  # a rig's page shows what it reads: never to a candidate
    "rig.manage": "....TM",
    "rig.check": ".A..TM",
    "baseline.record": "....TM",
    "baseline.approve": ".AV..M",  # a technician's own baseline takes a second pair of eyes
    "fault.set": ".A....",
    "hold.place": ".A..TM",
    "instrument.read": ".AV.TM",
    "instrument.manage": "....TM",
    "verification.read": "..V..M",
    "verification.do": "..V...",
    "exercise.read": ".AV..M",  # an assessor reads those they are in
    "rates.read": "..V..M",  # a prompt for a talk: not for colleagues
    "visit.read": "..VX.M",  # all that an external verifier gets to: the sample of a visit
    "visit.manage": "..V..M",
    "impact.read": ".AV.TM",
    "impact.open": "....TM",
    "impact.resolve": ".A....",  # the decision is theirs
    "impact.close": "..V..M",
    "task.read": ".AV..M",  # what is right stands there: never to a candidate
    "task.manage": ".....M",
    "cohort.read": ".AV..M",
    "cohort.manage": ".....M",
    "people.manage": ".....M",
    "ledger.read": "..V..M",
    "centre.manage": ".....M",  # the centre's own values, such as when a rig is taken out of use
}


def test_the_ladder_names_every_permission_that_a_role_gives():
    everyones = {Permission.PUBLIC, Permission.SIGNED_IN}
    assert {Permission(name) for name in LADDER} | everyones == set(Permission)
    assert set(ROLE_PERMISSIONS) == set(KINDS) == set(Role.Kind)


@pytest.mark.parametrize(("place", "kind"), list(enumerate(KINDS)), ids=list(KINDS))
def test_a_role_gives_its_column_of_the_ladder(place, kind):
    person = person_with(kind, by=ManagerFactory())
    given = {Permission(name) for name, row in LADDER.items() if row[place] != "."}
    assert permissions_of(person, on=DAY) == given | {Permission.PUBLIC, Permission.SIGNED_IN}


def test_several_roles_add_up():
    person = PersonFactory(kinds=(Role.Kind.CANDIDATE, Role.Kind.TECHNICIAN))
    both = ROLE_PERMISSIONS[Role.Kind.CANDIDATE] | ROLE_PERMISSIONS[Role.Kind.TECHNICIAN]
    assert permissions_of(person, on=DAY) == both | {Permission.PUBLIC, Permission.SIGNED_IN}


def test_a_person_without_a_role_is_only_signed_in():
    assert permissions_of(PersonFactory(), on=DAY) == {Permission.PUBLIC, Permission.SIGNED_IN}


def test_a_stranger_sees_what_is_public():
    assert permissions_of(AnonymousUser(), on=DAY) == {Permission.PUBLIC}


def test_a_person_without_access_is_a_stranger():
    manager = ManagerFactory()
    person = person_with(Role.Kind.ASSESSOR, by=manager)
    erased = people.erase(person=person, by=manager, at=datetime(2025, 2, 3, tzinfo=UTC))
    assert permissions_of(erased, on=DAY) == {Permission.PUBLIC}


@pytest.mark.parametrize(
    ("on", "counts"),
    [
        (date(2025, 1, 5), False),
        (date(2025, 1, 6), True),  # the first day is in
        (date(2025, 3, 31), True),  # and so is the last
        (date(2025, 4, 1), False),
    ],
)
def test_a_role_counts_on_its_days_only(on, counts):
    person = PersonFactory(kinds=(Role.Kind.ASSESSOR,), until=date(2025, 3, 31))
    assert (Permission.ATTEMPT_DECIDE in permissions_of(person, on=on)) is counts


def test_a_role_without_a_last_day_goes_on():
    person = PersonFactory(kinds=(Role.Kind.ASSESSOR,))
    assert Permission.ATTEMPT_DECIDE in permissions_of(person, on=FAR_DAY)
    assert Permission.ATTEMPT_DECIDE not in permissions_of(person, on=DAY - timedelta(days=1))


def test_permissions_take_one_query_however_many_roles(django_assert_num_queries):
    person = PersonFactory(kinds=(Role.Kind.CANDIDATE, Role.Kind.ASSESSOR, Role.Kind.TECHNICIAN))
    with django_assert_num_queries(1):
        permissions_of(person, on=DAY)

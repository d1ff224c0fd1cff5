from datetime import UTC, date, datetime

import pytest
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.utils import timezone
from django.views import View

from academy.access import AccessMixin, request_permissions
from academy.context import UnknownPermissionError, may
from academy.models import Role
from academy.permissions import Permission
from tests.factories.academy import AssessorFactory, ManagerFactory, PersonFactory

pytestmark = pytest.mark.django_db


class Decide(AccessMixin, View):
    permission = Permission.ATTEMPT_DECIDE

    def get(self, request):
        return HttpResponse("decided")


class Greet(AccessMixin, View):
    permission = Permission.PUBLIC

    def get(self, request):
        return HttpResponse("hello")


@pytest.fixture
def ask(rf):
    def ask(view, person):
        request = rf.get("/decide/?attempt=7")
        request.user = person
        return view.as_view()(request)

    return ask


@pytest.fixture
def request_of(rf):
    def request_of(person):
        request = rf.get("/")
        request.user = person
        return request

    return request_of


def test_a_person_with_the_permission_gets_the_page(ask):
    assert ask(Decide, AssessorFactory()).content == b"decided"


def test_a_person_without_it_is_refused(ask):
    with pytest.raises(PermissionDenied):
        ask(Decide, ManagerFactory())


def test_a_stranger_is_sent_to_sign_in_and_back(ask):
    response = ask(Decide, AnonymousUser())
    assert response.status_code == 302
    assert response["Location"] == "/sign-in/?next=/decide/%3Fattempt%3D7"


def test_a_stranger_sees_a_public_page(ask):
    assert ask(Greet, AnonymousUser()).content == b"hello"


def test_a_persons_pages_are_not_kept_by_the_browser(ask):
    assert "no-store" in ask(Decide, AssessorFactory())["Cache-Control"]


def test_permissions_are_looked_up_once_a_request(request_of, django_assert_num_queries):
    request = request_of(AssessorFactory())
    with django_assert_num_queries(1):
        first = request_permissions(request)
        assert request_permissions(request) is first is request.permissions


@pytest.mark.parametrize(
    ("time_zone", "counts"),
    [
        ("Pacific/Kiritimati", True),  # UTC+14: 2 June already
        ("UTC", False),
        ("Pacific/Pago_Pago", False),  # UTC-11
    ],
)
def test_a_role_begins_with_the_day_at_the_centre(request_of, monkeypatch, time_zone, counts):
    manager = ManagerFactory(time_zone=time_zone)
    person = PersonFactory(by=manager, kinds=(Role.Kind.ASSESSOR,), on=date(2025, 6, 2))
    monkeypatch.setattr(timezone, "now", lambda: datetime(2025, 6, 1, 12, tzinfo=UTC))
    assert (Permission.ATTEMPT_DECIDE in request_permissions(request_of(person))) is counts


def test_templates_ask_by_name(request_of):
    asked = may(request_of(AssessorFactory()))["may"]
    assert asked["attempt_decide"] is True
    assert asked["people_manage"] is False


def test_a_misspelt_permission_in_a_template_is_an_error_not_a_no(request_of):
    with pytest.raises(UnknownPermissionError):
        may(request_of(AssessorFactory()))["may"]["attempt_decode"]


def test_a_template_that_asks_nothing_costs_no_query(request_of, django_assert_num_queries):
    request = request_of(AssessorFactory())
    with django_assert_num_queries(0):
        may(request)

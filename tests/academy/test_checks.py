import pytest
from django.core.checks import run_checks
from django.http import HttpResponse
from django.urls import include, path
from django.views import View

from academy.access import AccessMixin
from academy.checks import every_view_names_a_permission
from academy.permissions import Permission


def function_view(_request):
    return HttpResponse()


class Named(AccessMixin, View):
    permission = Permission.RIG_READ


class NamedByItsBase(Named):
    pass


class Unguarded(View):
    pass


class NamedButUnguarded(View):
    permission = Permission.RIG_READ


class Nameless(AccessMixin, View):
    pass


class NamedInText(AccessMixin, View):
    permission = "rig.read"


class GuardedTooLate(View, AccessMixin):
    permission = Permission.RIG_READ


def faults(*patterns):
    return every_view_names_a_permission(patterns=patterns)


@pytest.mark.parametrize("view", [Named, NamedByItsBase])
def test_a_view_that_names_a_permission_passes(view):
    assert faults(path("rigs/", view.as_view())) == []


@pytest.mark.parametrize(
    ("view", "fault"),
    [
        (function_view, "is not a class-based view"),
        (Unguarded.as_view(), "does not check permissions"),
        (NamedButUnguarded.as_view(), "does not check permissions"),
        (Nameless.as_view(), "names no permission"),
        (NamedInText.as_view(), "names no permission"),
        (GuardedTooLate.as_view(), "answers before it checks permissions"),
    ],
    ids=["function", "unguarded", "named but unguarded", "nameless", "named in text", "guarded too late"],
)
def test_any_other_view_fails_with_its_fault(view, fault):
    (error,) = faults(path("rigs/", view))
    assert error.id == "academy.E001"
    assert fault in error.msg
    assert "rigs/" in error.msg
    assert "permission = Permission." in error.hint


def test_included_patterns_are_walked_too():
    inner = [path("ok/", Named.as_view()), path("bad/", Unguarded.as_view())]
    (error,) = faults(path("rigs/", include((inner, "rigs"))))
    assert "rigs/bad/" in error.msg


def test_the_site_itself_passes_and_is_checked_by_the_framework(settings):
    assert [error for error in run_checks() if error.id == "academy.E001"] == []
    settings.ROOT_URLCONF = "tests.academy.open_urls"
    assert [error.id for error in run_checks() if error.id == "academy.E001"] == ["academy.E001"]

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from django.apps import AppConfig
from django.core.checks import CheckMessage, Error
from django.urls import URLPattern, URLResolver, get_resolver
from django.views import View

from academy.access import AccessMixin
from academy.permissions import Permission

# Views of other packages that guard themselves, as module.name. Each needs a reason beside it.
GUARD_THEMSELVES: frozenset[str] = frozenset()

HINT = "Put AccessMixin before the other bases, and name one: permission = Permission.…"


def every_view_names_a_permission(
    app_configs: Sequence[AppConfig] | None = None,  # noqa: ARG001 (the URLconf is one for all apps)
    *,
    patterns: Sequence[Any] | None = None,
    **_options: Any,
) -> list[CheckMessage]:
    """Walk the URLconf, or the given patterns: a view open to anyone by oversight fails the build."""
    found = _patterns(get_resolver().url_patterns if patterns is None else patterns)
    return [
        Error(f"{_name(pattern.callback)}, at “{route}”, {fault}.", hint=HINT, id="academy.E001")
        for route, pattern in found
        if (fault := _fault(pattern.callback))
    ]


def _patterns(patterns: Sequence[Any], prefix: str = "") -> Iterator[tuple[str, URLPattern]]:
    for pattern in patterns:
        route = prefix + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from _patterns(pattern.url_patterns, route)
        else:
            yield route, pattern


def _name(view: Callable[..., Any]) -> str:
    named = getattr(view, "view_class", view)
    return f"{named.__module__}.{getattr(named, '__qualname__', type(named).__qualname__)}"


def _fault(view: Callable[..., Any]) -> str | None:
    if _name(view) in GUARD_THEMSELVES:
        return None
    view_class = getattr(view, "view_class", None)
    if view_class is None:
        return "is not a class-based view"
    if not issubclass(view_class, AccessMixin):
        return "does not check permissions"
    if view_class.__mro__.index(View) < view_class.__mro__.index(AccessMixin):
        return "answers before it checks permissions"
    if not isinstance(getattr(view_class, "permission", None), Permission):
        return "names no permission"
    return None

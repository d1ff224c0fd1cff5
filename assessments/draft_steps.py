"""The steps of a draft, as data: where each stands, and how they are put in, moved, copied and taken out.

A place is where a step stands, counted from 1: ``(3,)`` is the third, ``(3, 2)`` the second of those in the
group that stands third. A group is a generator: it stands for steps that are made when the task is issued,
one for each pair of conductors, or the same ones several times over. Nothing here changes what it is given.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Final, TypeAlias

from django.utils.text import slugify

Node: TypeAlias = Mapping[str, Any]
Nodes: TypeAlias = Sequence[Node]
Place: TypeAlias = tuple[int, ...]

SLUG_LENGTH: Final = 60
_PAIR: Final = "-{first}-{second}"


class NoSuchPlaceError(LookupError):
    """No step stands there."""


def is_group(node: Node) -> bool:
    return "for_each" in node or "repeat" in node


def inner(node: Node) -> list[Node]:
    """The steps in a group."""
    return [node["step"]] if "for_each" in node else list(node.get("steps", ()))


def place_from(text: str) -> Place:
    """What stands in an address, such as ``3`` or ``3-2``. Raises NoSuchPlaceError."""
    if not re.fullmatch(r"[1-9][0-9]{0,3}(-[1-9][0-9]{0,3})?", text):
        raise NoSuchPlaceError(text)
    return tuple(int(part) for part in text.split("-"))


def text_of(place: Place) -> str:
    return "-".join(str(part) for part in place)


def number_of(place: Place) -> str:
    """A place as people count it: ``3`` or ``3.2``."""
    return ".".join(str(part) for part in place)


def walk(steps: Nodes) -> Iterator[tuple[Place, Node]]:
    """Every step and group in order, a group before what is in it."""
    for number, node in enumerate(steps, start=1):
        yield (number,), node
        if is_group(node):
            yield from (((number, place), each) for place, each in enumerate(inner(node), start=1))


def plain_steps(steps: Nodes) -> Iterator[tuple[Place, Node]]:
    return ((place, node) for place, node in walk(steps) if not is_group(node))


def at(steps: Nodes, place: Place) -> Node:
    found = dict(walk(steps)).get(place)
    if found is None:
        raise NoSuchPlaceError(text_of(place))
    return found


def find(steps: Nodes, slug: str, *, near: Place) -> Place:
    """Where the step of that name stands, if possible where it stood. Raises NoSuchPlaceError."""
    named = [place for place, node in plain_steps(steps) if node.get("slug") == slug]
    if not named:
        raise NoSuchPlaceError(slug)
    return near if near in named else named[0]


def replaced(steps: Nodes, place: Place, node: Node) -> list[Node]:
    return _within(steps, place, lambda siblings, index: [*siblings[:index], node, *siblings[index + 1 :]])


def inserted(steps: Nodes, place: Place, node: Node) -> list[Node]:
    """With the node at that place, and what stood there after it. One past the end is a place, too."""
    return _within(steps, place, lambda siblings, index: [*siblings[:index], node, *siblings[index:]], room=1)


def removed(steps: Nodes, place: Place) -> list[Node]:
    """Without that step or group. A group that has none left goes as well."""
    return _within(steps, place, lambda siblings, index: [*siblings[:index], *siblings[index + 1 :]])


def moved(steps: Nodes, place: Place, *, by: int) -> list[Node]:
    """One further up or down among its own. The first stays first, the last stays last."""

    def move(siblings: list[Node], index: int) -> list[Node]:
        rest = [*siblings[:index], *siblings[index + 1 :]]
        to = min(max(index + by, 0), len(rest))
        return [*rest[:to], siblings[index], *rest[to:]]

    return _within(steps, place, move)


def copied(steps: Nodes, place: Place) -> list[Node]:
    """With a copy after it, under names that aren't taken yet."""
    taken = {str(node.get("slug", "")) for _, node in plain_steps(steps)}
    copy = _under_new_names(at(steps, place), taken)
    return inserted(steps, (*place[:-1], place[-1] + 1), copy)


def may_hold_more(node: Node) -> bool:
    """Whether a step can be put into that group: for each pair there is one."""
    return "repeat" in node


def earlier_readings(steps: Nodes, place: Place) -> list[tuple[str, str]]:
    """The readings that a check at a place can name: how it names each, and in which words it is offered.

    What is read in a group that is done several times over has a name for each time; a step of the same group
    names the same time round.
    """
    found = []
    for where, node in plain_steps(steps):
        if where >= place:
            break
        slug, title = str(node.get("slug", "")), str(node.get("title", ""))
        group = steps[where[0] - 1]
        if node.get("kind") != "reading" or "for_each" in group:
            continue
        if "repeat" not in group:
            found.append((slug, title))
        elif where[0] == place[0]:
            found.append((_numbered(slug, "{n}"), f"{title}, the same time round"))
        else:
            times = range(1, group["repeat"] + 1)
            found += [(_numbered(slug, str(time)), f"{title}, time {time}") for time in times]
    return found


def _numbered(slug: str, number: str) -> str:
    return slug.replace("{n}", number) if "{n}" in slug else f"{slug}-{number}"


def repeated(node: Node, *, times: int) -> Node:
    """A group that does the step so many times over."""
    return {"repeat": times, "steps": [node]}


def for_each_pair(node: Node) -> Node:
    """A group that does the step once for each pair of conductors, each under a name of its own."""
    slug = str(node.get("slug", ""))
    return {"for_each": "pair", "step": {**node, "slug": slug if "{first}" in slug else f"{slug}{_PAIR}"}}


def dissolved(steps: Nodes, place: Place) -> list[Node]:
    """With the steps of a group in its place."""
    held = [
        {**node, "slug": str(node.get("slug", "")).removesuffix(_PAIR)} for node in inner(at(steps, place))
    ]
    index = place[0] - 1
    return [*steps[:index], *held, *steps[index + 1 :]]


def new_slug(title: str, *, taken: set[str]) -> str:
    """A short name made from a title, numbered where it is taken."""
    # One with a place to fill in, such as {first}, is a short name already.
    stem = (title if "{" in title else slugify(title))[: SLUG_LENGTH - 4].strip("-") or "step"
    slug, number = stem, 2
    while slug in taken:
        slug, number = f"{stem}-{number}", number + 1
    return slug


def renamed(steps: Nodes, place: Place, slug: str) -> list[Node]:
    """With another name for a step, also in the checks that name it, in a group by its number or by ``*``."""
    node = at(steps, place)
    old = re.escape(str(node.get("slug", "")))
    name = re.compile(rf"{old}(-(?:[0-9]+|\{{n\}}|\*))?" if len(place) > 1 else rf"{old}()")
    return _pointing(replaced(steps, place, {**node, "slug": slug}), name, slug)


def _pointing(steps: Nodes, name: re.Pattern[str], new: str) -> list[Node]:
    found: list[Node] = []
    for node in steps:
        if is_group(node):
            found.append(_with_inner(node, _pointing(inner(node), name, new)))
        elif "parameters" in node:
            found.append({**node, "parameters": _exchanged(node["parameters"], name, new)})
        else:
            found.append(node)
    return found


# Parameters that are words, and no step's name though they may look like one.
_WORDS = frozenset(
    {
        "calculator",
        "unit",
        "source",
        "dated",
        "clause",
        "applies_from",
        "applies_until",
        "instruments",
        "test_points",
        "conditions",
    }
)


def _exchanged(value: Any, name: re.Pattern[str], new: str) -> Any:
    if isinstance(value, Mapping):
        return {key: each if key in _WORDS else _exchanged(each, name, new) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_exchanged(each, name, new) for each in value]
    found = name.fullmatch(value) if isinstance(value, str) else None
    return f"{new}{found[1] or ''}" if found else value


def _under_new_names(node: Node, taken: set[str]) -> Node:
    if is_group(node):
        return _with_inner(node, [_under_new_names(each, taken) for each in inner(node)])
    slug = new_slug(str(node.get("slug", "")), taken=taken)
    taken.add(slug)
    return {**node, "slug": slug}


def _with_inner(group: Node, steps: Nodes) -> Node:
    return {**group, "step": steps[0]} if "for_each" in group else {**group, "steps": list(steps)}


def _within(
    steps: Nodes, place: Place, change: Callable[[list[Node], int], list[Node]], *, room: int = 0
) -> list[Node]:
    """The steps with one list of siblings changed, at the index that the place names."""
    siblings = list(steps)
    index = place[0] - 1
    if len(place) == 1:
        if not 0 <= index < len(siblings) + room:
            raise NoSuchPlaceError(text_of(place))
        return change(siblings, index)
    group = at(steps, place[:1])
    if not is_group(group):
        raise NoSuchPlaceError(text_of(place))
    held = _within(inner(group), place[1:], change, room=room if may_hold_more(group) else 0)
    kept = [_with_inner(group, held)] if held else []
    return [*siblings[:index], *kept, *siblings[index + 1 :]]

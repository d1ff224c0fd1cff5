"""Reading a page as a browser would, for what no page of the site may have or lack."""

from collections import Counter
from collections.abc import Iterable
from html.parser import HTMLParser

REFERS = ("for", "aria-describedby", "aria-labelledby")


class Reader(HTMLParser):
    """Collects what a page is made of."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: Counter[str] = Counter()
        self.tags: Counter[str] = Counter()
        self.references: list[str] = []
        self.inline: list[str] = []
        self.title = ""
        self.tag_in_title = ""
        self.forms_without_token: list[str] = []
        self._form: str | None = None
        self._in_title = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.tags[tag] += 1
        self.ids.update([given["id"]] if "id" in given else [])
        for name in REFERS:
            self.references += given.get(name, "").split()
        self.inline += [f"{tag} {name}" for name in given if name == "style" or name.startswith("on")]
        if tag in {"style", "script"} and "src" not in given:
            self.inline.append(tag)
        if tag == "form" and given.get("method", "").lower() == "post":
            self._form = given.get("action", "this page")
        if given.get("name") == "csrfmiddlewaretoken":
            self._form = None
        if self._in_title:
            self.tag_in_title = tag
        self._in_title = tag == "title" and self.tags[tag] == 1

    def handle_endtag(self, tag: str) -> None:
        if tag == "form" and self._form is not None:
            self.forms_without_token.append(self._form)
            self._form = None
        if tag == "title":
            self._in_title = False

    def handle_data(self, data: str) -> None:
        if self._in_title:
            self.title += data


def faults_of(html: str) -> list[str]:
    """Say what is wrong with a page, whatever it is about. Nothing for a sound one."""
    reader = Reader()
    reader.feed(html)
    return list(_faults(reader))


def _faults(reader: Reader) -> Iterable[str]:
    yield from _faults_of_title(reader)
    for tag in ("h1", "main"):
        if reader.tags[tag] != 1:
            yield f"It has {reader.tags[tag]} of {tag}."
    for name, times in reader.ids.items():
        if times > 1:
            yield f"The id {name} is there {times} times."
    for name in reader.references:
        if name not in reader.ids:
            yield f"It points to {name}, which isn't there."
    for what in reader.inline:
        yield f"The content policy refuses its {what}."
    for action in reader.forms_without_token:
        yield f"The form to {action} has no token."


def _faults_of_title(reader: Reader) -> Iterable[str]:
    if not reader.title.removesuffix("· Makepoint").strip():
        yield "It has no title."
    if reader.tag_in_title or "<" in reader.title:
        yield "Its title has a tag in it, which a browser shows as it is written."

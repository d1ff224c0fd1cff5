"""A plain browser without scripts: pages as a person sees them, links and buttons by their words."""

import http.client
import mimetypes
from collections.abc import Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser
from http.cookies import SimpleCookie
from urllib.parse import urlencode, urljoin, urlsplit
from uuid import uuid4

SECONDS = 60
MOST_REDIRECTS = 8
UNSEEN = frozenset({"script", "style", "title", "svg", "head"})
ENDLESS = frozenset({"br", "hr", "img", "input", "link", "meta", "path", "source", "wbr"})


class NotThere(LookupError):
    """A page lacks what a person would look for on it."""


@dataclass(slots=True, kw_only=True)
class Control:
    """A field or a button. ``options`` maps what is seen to what is sent, for a select."""

    kind: str
    name: str
    value: str = ""
    chosen: bool = True
    words: str = ""
    options: dict[str, str] = field(default_factory=dict)


@dataclass(slots=True, kw_only=True)
class Form:
    action: str
    method: str
    controls: list[Control] = field(default_factory=list)

    @property
    def buttons(self) -> list[Control]:
        return [each for each in self.controls if each.kind == "submit"]

    def has(self, name: str) -> bool:
        return any(each.name == name for each in self.controls)


@dataclass(slots=True, kw_only=True)
class Link:
    address: str
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What came back. ``text`` is what can be read on it, in one line."""

    status: int
    address: str
    kind: str
    content: bytes
    heading: str = ""
    text: str = ""
    links: tuple[Link, ...] = ()
    forms: tuple[Form, ...] = ()

    def link(self, words: str) -> Link:
        """The first link that has those words in it. NotThere if there is none."""
        found = next((each for each in self.links if words in each.words), None)
        if found is None:
            raise NotThere(f"no link “{words}” on “{self.heading}”")
        return found

    def form(self, button: str) -> Form:
        """The first form with that button. NotThere if there is none."""
        found = next(
            (form for form in self.forms if any(each.words == button for each in form.buttons)), None
        )
        if found is None:
            raise NotThere(f"no button “{button}” on “{self.heading}”")
        return found


class Browser:
    """One person's browser, with their cookies."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.cookies: dict[str, str] = {}

    def open(self, address: str) -> Page:
        return self._follow("GET", urljoin(self.address, address))

    def click(self, page: Page, words: str) -> Page:
        return self.open(urljoin(page.address, page.link(words).address))

    def send(
        self,
        page: Page,
        button: str,
        values: Mapping[str, str] | None = None,
        *,
        files: Mapping[str, bytes] | None = None,
    ) -> Page:
        """Fill a form in and press its button. A select is given what is seen, other fields what is typed."""
        form = page.form(button)
        pairs = filled(form, button, values or {})
        address = urljoin(page.address, form.action or page.address)
        if form.method == "get":
            return self._follow("GET", f"{address.partition('?')[0]}?{urlencode(pairs)}")
        kind, body = _encoded(pairs, files or {})
        return self._follow("POST", address, body=body, kind=kind)

    def _follow(self, method: str, address: str, *, body: bytes = b"", kind: str = "") -> Page:
        for _ in range(MOST_REDIRECTS):
            status, headers, content = self._ask(method, address, body=body, kind=kind)
            where = headers.get("Location")
            if where is None or not 300 <= status < 400:
                return read(
                    status=status, address=address, kind=headers.get("Content-Type", ""), content=content
                )
            method, address, body, kind = "GET", urljoin(address, where), b"", ""
        raise NotThere(f"an end of the redirects at {address}")

    def _ask(
        self, method: str, address: str, *, body: bytes, kind: str
    ) -> tuple[int, http.client.HTTPMessage, bytes]:
        parts = urlsplit(address)
        connection = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=SECONDS)
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        if kind:
            headers["Content-Type"] = kind
        try:
            path = f"{parts.path or '/'}?{parts.query}" if parts.query else parts.path or "/"
            connection.request(method, path, body=body or None, headers=headers)
            response = connection.getresponse()
            content = response.read()
        finally:
            connection.close()
        for header in response.headers.get_all("Set-Cookie") or ():
            self.cookies |= {name: morsel.value for name, morsel in SimpleCookie(header).items()}
        return response.status, response.headers, content


def filled(form: Form, button: str, values: Mapping[str, str]) -> list[tuple[str, str]]:
    """What the form sends with those values. NotThere for a field or a choice that it doesn't offer."""
    for name in values:
        if not form.has(name):
            raise NotThere(f"no field “{name}” in the form with “{button}”")
    pairs: list[tuple[str, str]] = []
    pressed = next(each for each in form.buttons if each.words == button)
    offered = {name: [each for each in form.controls if each.name == name] for name in values}
    for name, value in values.items():
        pairs.append((name, _value(offered[name], value)))
    for control in form.controls:
        sent = control is pressed or (control.kind not in ("submit", "file") and control.chosen)
        if sent and control.name and control.name not in values:
            pairs.append((control.name, control.value))
    return pairs


def _value(controls: list[Control], value: str) -> str:
    first = controls[0]
    if first.kind == "select":
        if value not in first.options:
            raise NotThere(f"no choice “{value}” in “{first.name}”")
        return first.options[value]
    if first.kind == "radio" and value not in {each.value for each in controls}:
        raise NotThere(f"no choice “{value}” in “{first.name}”")
    return value


def _encoded(pairs: list[tuple[str, str]], files: Mapping[str, bytes]) -> tuple[str, bytes]:
    """The content type, and the body as a browser sends it (RFC 7578 where files go along)."""
    if not files:
        return "application/x-www-form-urlencoded", urlencode(pairs).encode()
    boundary = uuid4().hex
    parts = [(f'name="{name}"', value.encode()) for name, value in pairs]
    parts += [(f'name="{name}"; filename="{name}.jpg"', content) for name, content in files.items()]
    body = b"".join(
        f"--{boundary}\r\nContent-Disposition: form-data; {name}\r\n{_type(name)}\r\n".encode()
        + content
        + b"\r\n"
        for name, content in parts
    )
    return f"multipart/form-data; boundary={boundary}", body + f"--{boundary}--\r\n".encode()


def _type(disposition: str) -> str:
    return f"Content-Type: {mimetypes.types_map['.jpg']}\r\n" if "filename" in disposition else ""


def read(*, status: int, address: str, kind: str, content: bytes) -> Page:
    """A response as a page; what isn't HTML has no text."""
    if not kind.startswith("text/html"):
        return Page(status=status, address=address, kind=kind, content=content)
    reader = Reader()
    reader.feed(content.decode())
    return Page(
        status=status,
        address=address,
        kind=kind,
        content=content,
        heading=" ".join(reader.heading.split()),
        text=" ".join("".join(reader.text).split()),
        links=tuple(reader.links),
        forms=tuple(reader.forms),
    )


class Reader(HTMLParser):
    """Gathers headings, words, links and forms in one pass."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.heading = ""
        self.text: list[str] = []
        self.links: list[Link] = []
        self.forms: list[Form] = []
        self.inside: list[str] = []
        self.select: Control | None = None
        self.option: tuple[str | None, bool] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag not in ENDLESS:
            self.inside.append(tag)
        self.text.append(" ")
        if tag == "a":
            self.links.append(Link(address=given.get("href", "")))
        elif tag == "form":
            self.forms.append(Form(action=given.get("action", ""), method=given.get("method", "get").lower()))
        elif self.forms and tag in ("input", "textarea", "select", "button"):
            self._control(tag, given, checked="checked" in given)
        elif tag == "option" and self.select is not None:
            self.option = given.get("value"), "selected" in given

    def handle_endtag(self, tag: str) -> None:
        while self.inside:
            ended = self.inside.pop()
            if ended == tag:
                break
        if tag == "select":
            self.select = None
        elif tag == "option":
            self.option = None

    def handle_data(self, data: str) -> None:
        if UNSEEN & set(self.inside):
            return
        words = " ".join(data.split())
        self.text.append(data)
        if "h1" in self.inside:
            self.heading += data
        if "a" in self.inside and self.links:
            self.links[-1].words = f"{self.links[-1].words} {words}".strip()
        last = self.forms[-1].controls[-1] if self.forms and self.forms[-1].controls else None
        if last is not None and words:
            self._words(last, words, data)

    def _control(self, tag: str, given: Mapping[str, str], *, checked: bool) -> None:
        kind = {"textarea": "textarea", "select": "select", "button": "submit"}.get(
            tag, given.get("type", "text")
        )
        control = Control(kind=kind, name=given.get("name", ""), value=given.get("value", ""))
        if kind in ("radio", "checkbox"):
            control.chosen = checked
            control.value = given.get("value", "on")
        if kind == "submit":
            control.words = given.get("value", "") if tag == "input" else ""
        self.forms[-1].controls.append(control)
        if tag == "select":
            self.select = control

    def _words(self, last: Control, words: str, data: str) -> None:
        if self.option is not None and self.select is not None:
            value, selected = self.option
            sent = self.select.options[words] = words if value is None else value
            if selected or len(self.select.options) == 1:
                self.select.value = sent
        elif self.inside[-1:] == ["textarea"]:
            last.value += data
        elif "button" in self.inside and last.kind == "submit":
            last.words = f"{last.words} {words}".strip()

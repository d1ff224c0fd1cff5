"""How readings, times, verdicts and strips are written on every page and document."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django import template
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.safestring import SafeString

from academy import marks
from academy.strip import Strip

register = template.Library()

NARROW_SPACE = "\N{NARROW NO-BREAK SPACE}"
_UNSPACED_UNITS = frozenset({"%", "°"})
_ROUND = "M0 20.5a6.5 6.5 0 1 0 0 13 6.5 6.5 0 1 0 0-13z"
_DOTS = {
    marks.Tone.GOOD: _ROUND,
    marks.Tone.EDGE: f"{_ROUND}M0 23a4 4 0 0 1 0 8z",
    marks.Tone.OUT: "M0 18.5 8.5 27 0 35.5-8.5 27z",
    marks.Tone.UNSURE: f"{_ROUND}M0 23.5a3.5 3.5 0 0 1 0 7 3.5 3.5 0 0 1 0-7z",
    marks.Tone.PLAIN: _ROUND,
}


@register.filter
def reading(text: object, unit: str | None = "") -> SafeString:
    """Write a reading as it was typed, its unit held beside it: never on the next line, never left out."""
    if not unit:
        return format_html('<span class="reading">{}</span>', text)
    gap = "" if unit in _UNSPACED_UNITS else NARROW_SPACE
    return format_html('<span class="reading">{}<span class="unit">{}{}</span></span>', text, gap, unit)


def _time(at: datetime, layout: str) -> SafeString:
    local = timezone.localtime(at)
    exact = local.isoformat(timespec="seconds")
    return format_html('<time datetime="{}">{}</time>', exact, date_format(local, layout))


@register.filter
def when(at: datetime | None) -> SafeString | str:
    """Write a moment as date and time of day where the centre is; nothing for None."""
    return _time(at, "D j M Y, H:i") if at else ""


@register.filter
def clock(at: datetime | None) -> SafeString | str:
    """Write a moment's time of day where the centre is, for rows that share a date."""
    return _time(at, "H:i") if at else ""


@register.filter
def day(on: date | None) -> SafeString | str:
    """Write a date; a datetime gives its date where the centre is."""
    if not on:
        return ""
    on = timezone.localtime(on).date() if isinstance(on, datetime) else on
    return format_html('<time datetime="{}">{}</time>', on.isoformat(), date_format(on, "D j M Y"))


@register.filter
def mark(code: object) -> marks.Mark:
    return marks.mark(str(code))


@register.filter
def condition_kind(code: object) -> str:
    """Return which of the drawn conditions a code is; "condition" for a rig design's own."""
    return str(code) if str(code) in marks.CONDITIONS else "condition"


@register.filter
def condition_mark(code: object) -> marks.Mark:
    return marks.mark(condition_kind(code))


@register.inclusion_tag("_verdict.html")
def verdict(code: object, side: str = "", word: str = "", *, compact: bool = False) -> dict[str, Any]:
    """Write a verdict or a state as a word with its mark.

    ``side`` is "below" or "above" for a reading out of its range, where that may be shown. ``word`` replaces
    the usual word. ``compact`` leaves the word to screen readers and the tooltip, for a matrix with a key.
    """
    drawn = marks.mark(f"{code}-below" if side == "below" and str(code) == "out-of-range" else str(code))
    word = word or (f"{drawn.word}, {side}" if side else drawn.word)
    return {"mark": drawn, "word": word, "compact": compact}


@register.inclusion_tag("_key.html")
def key(*codes: object) -> dict[str, Any]:
    """Write the key to the marks of a matrix."""
    return {"marks": [marks.mark(str(code)) for code in codes]}


@register.inclusion_tag("_strip.html")
def strip(strip: Strip, label: str = "") -> dict[str, Any]:
    """Draw one reading against its range; ``label`` says what was read, and is read out first."""
    return {"strip": strip, "label": label, "mark": marks.mark(strip.verdict)}


@register.filter
def dot(tone: marks.Tone) -> str:
    """Return the outline of a reading's dot on a strip, a shape for each tone."""
    return _DOTS[tone]


@register.inclusion_tag("_condition.html")
def condition(name: str, code: object = "") -> dict[str, Any]:
    """Write the condition to put the rig into, with a drawing where ``code`` has one."""
    return {"name": name, "kind": code}


@register.inclusion_tag("_caution.html")
def cautions(texts: str | Iterable[str]) -> dict[str, Any]:
    """Write the cautions of a task or a step: one text or several."""
    return {"cautions": [texts] if isinstance(texts, str) else list(texts)}

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import product
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Div, Fieldset, Layout, Submit
from crispy_forms.utils import render_crispy_form
from django import forms
from django.template import Context, Template
from django.template.loader import render_to_string
from django.urls import path
from django.utils import timezone
from django.views import View

import academy
from academy.marks import MARKS, PRINT_COLOURS
from academy.strip import Strip

# The shared templates need these and no others.
pytestmark = pytest.mark.urls(__name__)
urlpatterns = [
    path(f"{name}/", View.as_view(), name=name)
    for name in (
        "home",
        "sign-out",
        "password-change",
        "own-data",
        "bench-home",
        "portfolio-own",
        "review-list",
        "rig-list",
        "person-list",
    )
]

STATIC = Path(academy.__file__).parent / "static" / "academy"
TEMPLATES = Path(academy.__file__).parent / "templates"
SHEETS = ("tokens.css", "site.css", "document.css")

TEXT = ("ink", "soft", "action", "good", "edge", "out", "unsure")
GROUNDS = ("paper", "ground")
ON_ITS_GROUND = (
    ("good", "good-ground"),
    ("edge", "edge-ground"),
    ("out", "out-ground"),
    ("unsure", "unsure-ground"),
    ("ink", "good-ground"),
    ("ink", "edge-ground"),
    ("ink", "out-ground"),
    ("on-action", "action"),
    ("paper", "rule"),
)
LINES = ("rule", "edge-line", "focus", "good", "edge", "out", "unsure")


def _colours(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block))


def _schemes() -> Mapping[str, dict[str, str]]:
    light, _, dark = (STATIC / "tokens.css").read_text().partition("@media")
    return {"light": _colours(light), "dark": _colours(light) | _colours(dark)}


def _luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def _contrast(one: str, other: str) -> float:
    darker, lighter = sorted((_luminance(one), _luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def test_contrast_is_computed_as_the_standard_does() -> None:
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)
    assert _contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), [*product(TEXT, GROUNDS), *ON_ITS_GROUND])
def test_text_is_readable_on_every_ground_it_stands_on(scheme: str, text: str, ground: str) -> None:
    colours = _schemes()[scheme]
    assert _contrast(colours[text], colours[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("line", "ground"), [*product(LINES, GROUNDS)])
def test_lines_that_carry_meaning_are_seen(scheme: str, line: str, ground: str) -> None:
    colours = _schemes()[scheme]
    assert _contrast(colours[line], colours[ground]) >= 3


def test_both_schemes_name_the_same_colours() -> None:
    light, _, dark = (STATIC / "tokens.css").read_text().partition("@media")
    assert _colours(light).keys() == _colours(dark).keys()


def test_drawings_in_documents_take_the_light_schemes_colours() -> None:
    light = _schemes()["light"]
    assert {tone.value: colour for tone, colour in PRINT_COLOURS.items()} == {
        "good": light["good"],
        "edge": light["edge"],
        "out": light["out"],
        "unsure": light["unsure"],
        "plain": light["ink"],
    }
    assert set(re.findall(r"#[0-9a-f]{6}", (TEMPLATES / "_strip.html").read_text())) <= set(light.values())


@pytest.mark.parametrize("sheet", SHEETS)
def test_style_sheets_fetch_nothing(sheet: str) -> None:
    assert not re.search(r"url\(|@import|https?:", (STATIC / sheet).read_text())


@pytest.mark.parametrize("sheet", SHEETS)
def test_style_sheets_use_only_tokens_that_exist(sheet: str) -> None:
    own = (STATIC / sheet).read_text()
    named = set(re.findall(r"--([\w-]+):", (STATIC / "tokens.css").read_text() + own))
    assert set(re.findall(r"var\(--([\w-]+)", own)) <= named


def test_the_sites_style_sheets_stay_small_enough_for_a_bad_connection() -> None:
    assert sum((STATIC / sheet).stat().st_size for sheet in ("tokens.css", "site.css")) < 24_000


def test_no_shared_template_carries_style_or_script() -> None:
    for template in [*TEMPLATES.glob("*.html"), *TEMPLATES.glob("makepoint/**/*.html")]:
        assert not re.search(r"\bstyle=|<style|<script|\bon[a-z]+=", template.read_text()), template.name


class CheckForm(forms.Form):
    text = forms.CharField(label="Reading", help_text="As the display shows it.")
    contact = forms.ChoiceField(
        label="Contact", choices=[("open", "Open"), ("closed", "Closed")], widget=forms.RadioSelect
    )
    proved = forms.BooleanField(label="Proved dead")
    photo = forms.FileField(label="Photo", required=False)
    token = forms.CharField(widget=forms.HiddenInput, initial="t-1")


def _render(form: forms.Form, helper: FormHelper | None = None, **context: Any) -> str:
    # A helper without a layout is empty, and so false.
    helper = FormHelper() if helper is None else helper
    return render_crispy_form(form, helper, {"csrf_token": "token", **context})


def _tag(html: str, pattern: str) -> str:
    found = re.search(rf"<[a-z]+[^>]*{pattern}[^>]*>", html)
    assert found, f"no tag with {pattern}"
    return found.group()


def test_an_error_stands_beside_its_field_and_is_announced_with_it() -> None:
    html = _render(CheckForm({}))
    control = _tag(html, 'name="text"')
    assert 'aria-invalid="true"' in control
    assert 'aria-describedby="id_text_helptext id_text_error"' in control
    assert html.count('id="id_text_error"') == html.count('id="id_text_helptext"') == 1


def test_an_error_of_a_choice_is_announced_with_its_group() -> None:
    html = _render(CheckForm({}))
    assert 'aria-describedby="id_contact_error"' in _tag(html, 'id="div_id_contact"')
    assert html.count('id="id_contact_error"') == 1
    assert "<legend>Contact" in html


def test_every_line_of_the_error_summary_leads_to_a_control() -> None:
    html = _render(CheckForm({}))
    targets = re.findall(r'<a href="#([^"]+)"', html)
    assert targets == ["id_text", "id_contact_0", "id_proved"]
    assert all(f'id="{target}"' in html for target in targets)


def test_an_error_of_the_whole_form_is_in_the_summary() -> None:
    form = CheckForm({})
    form.add_error(None, "This rig is on hold.")
    assert "<li>This rig is on hold.</li>" in re.sub(r"\s*\n\s*", "", _render(form))


def test_a_form_without_errors_has_no_summary_and_no_description_of_errors() -> None:
    html = _render(CheckForm())
    assert "error-summary" not in html
    assert "aria-invalid" not in html
    assert "_error" not in html


def test_what_a_person_typed_and_what_went_wrong_are_escaped() -> None:
    form = CheckForm({"text": "<b>2.4</b>"})
    form.add_error("text", "<i>wrong</i>")
    html = _render(form)
    assert "<b>2.4" not in html
    assert "<i>wrong" not in html


def test_a_form_with_a_file_is_sent_whole_and_guarded() -> None:
    html = _render(CheckForm())
    assert 'enctype="multipart/form-data"' in html
    assert 'name="csrfmiddlewaretoken"' in html
    assert _tag(html, 'name="token"').count('type="hidden"') == 1


def test_a_form_that_is_fetched_carries_no_token() -> None:
    helper = FormHelper()
    helper.form_method = "get"
    assert "csrfmiddlewaretoken" not in _render(CheckForm(), helper)


def test_enter_in_a_reading_records_the_number_and_no_qualifier() -> None:
    helper = FormHelper()
    helper.layout = Layout(
        Div("text", template="makepoint/layout/reading_entry.html"),
        HTML('{% include "_qualifiers.html" %}'),
        Fieldset("Contact", "contact"),
    )
    helper.add_input(Submit("record", "Record the reading"))
    html = _render(CheckForm(), helper, qualifiers=[("over-limit", "OL")])
    buttons = re.findall(r"<button[^>]*>", html)
    assert "name=" not in buttons[0]
    assert 'name="qualifier" value="over-limit"' in buttons[1]
    assert 'name="record"' in buttons[2] and "main" in buttons[2]


@dataclass(frozen=True)
class Somebody:
    is_authenticated: bool = True
    name: str = "Rowan Thistlewood"


def _page(*, may: tuple[str, ...] = (), user: Somebody | None = None, **context: Any) -> str:
    given = {"may": dict.fromkeys(may, True), "user": user or Somebody(), "messages": [], "csrf_token": "t"}
    return render_to_string("base.html", given | context)


def test_the_sections_shown_are_those_the_person_may_use() -> None:
    assert re.findall(r"<li><a href[^>]*>([^<]+)", _page(may=("attempt_work",))) == ["Bench", "My evidence"]
    assert re.findall(r"<li><a href[^>]*>([^<]+)", _page(may=("rig_read", "people_manage"))) == [
        "Rigs",
        "People",
    ]


@pytest.mark.parametrize("context", [{"section": "rigs"}, {"view": {"section": "rigs"}}])
def test_the_current_section_is_marked_for_everyone(context: dict[str, Any]) -> None:
    html = _page(may=("attempt_read", "rig_read"), **context)
    assert re.findall(r'<a href="([^"]+)" aria-current="true">', html) == ["/rig-list/"]


def test_signing_out_is_a_guarded_form_beside_the_persons_name() -> None:
    html = _page()
    form = html[html.index('<form class="who"') : html.index("</form>")]
    assert 'method="post" action="/sign-out/"' in form
    assert "csrfmiddlewaretoken" in form and "Rowan Thistlewood" in form


def test_nobody_signed_in_is_offered_nothing_to_sign_out_of() -> None:
    html = _page(user=Somebody(is_authenticated=False))
    assert "<form" not in html and "<nav" not in html


def test_every_page_says_what_its_results_are_not() -> None:
    assert "Not evidence that any appliance or installation is safe to use." in _page()


def test_the_first_thing_in_a_page_skips_to_its_content() -> None:
    html = _page()
    assert re.search(r"<body[^>]*>\s*<a class=\"skip\" href=\"#main\">", html)
    assert '<main id="main"' in html


def _written(source: str, **context: Any) -> str:
    return Template("{% load makepoint %}" + source).render(Context(context))


def test_a_reading_keeps_its_text_and_holds_its_unit_beside_it() -> None:
    html = _written("{{ text|reading:unit }}", text="2.40", unit="mbar")
    assert html == '<span class="reading">2.40<span class="unit">\u202fmbar</span></span>'
    assert _written("{{ text|reading }}", text="OL") == '<span class="reading">OL</span>'
    assert "&lt;b&gt;" in _written("{{ text|reading:unit }}", text="<b>", unit="mbar")


def test_times_are_written_where_the_centre_is_and_exactly_for_machines() -> None:
    at = datetime(2026, 7, 6, 23, 30, tzinfo=UTC)
    with timezone.override(ZoneInfo("Europe/London")):
        assert _written("{{ at|when }}", at=at) == (
            '<time datetime="2026-07-07T00:30:00+01:00">Tue 7 Jul 2026, 00:30</time>'
        )
        assert _written("{{ at|day }}", at=at) == '<time datetime="2026-07-07">Tue 7 Jul 2026</time>'
        assert ">00:30<" in _written("{{ at|clock }}", at=at)
    assert (
        _written("{{ on|day }}", on=date(2026, 3, 3)) == '<time datetime="2026-03-03">Tue 3 Mar 2026</time>'
    )
    assert _written("{{ at|when }}{{ at|clock }}{{ at|day }}", at=None) == ""


@pytest.mark.parametrize("code", MARKS)
def test_every_mark_is_written_with_its_word(code: str) -> None:
    html = _written("{% verdict code %}", code=code)
    assert MARKS[code].word in html
    assert 'aria-hidden="true"' in html
    assert MARKS[code].word in _written("{% verdict code compact=True %}", code=code)


def test_a_reading_out_of_range_says_on_which_side() -> None:
    below = _written("{% verdict code side='below' %}", code="out-of-range")
    assert "Out of range, below" in below
    assert MARKS["out-of-range-below"].line in below


def test_a_strip_is_a_picture_with_words_for_those_who_do_not_see_it() -> None:
    drawn = Strip.build(value=1.57, u=0.02, lower=1.52, upper=1.64, unit="mbar", digits=2, verdict="in-range")
    html = _written("{% strip drawn label='Δp at the taps' %}", drawn=drawn)
    assert 'role="img"' in html
    assert f"<title>Δp at the taps: {drawn.description}</title>" in html
    assert "style=" not in html


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("{% cautions texts %}", ('role="note"', "Cautions", "Isolate first.")),
        ("{% cautions 'Isolate first.' %}", ("Caution", "Isolate first.")),
        ("{% condition 'Fan running' 'fan-running' %}", ("condition-fan-running", "Fan running")),
        ("{% condition 'Tubes crossed' 'tubes-crossed' %}", ("condition-condition", "Tubes crossed")),
        ("{% key 'competent' 'suspended' %}", ("Competent", "Suspended")),
        ("{% include '_empty.html' with title='None waits.' %}", ("None waits.",)),
        ("{% include '_progress.html' with number=7 count=26 %}", ("Step 7", "of 26", 'max="26"')),
        ("{% include '_correction.html' with was='157' now='1.57' unit='mbar' %}", ("<del>", "<ins>")),
        ("{% include '_photo.html' with url='/p' alt='Display' %}", ('src="/p"', 'alt="Display"')),
    ],
)
def test_each_partial_renders_with_the_least_it_is_given(source: str, words: tuple[str, ...]) -> None:
    html = _written(source, texts=["Isolate first.", "Prove dead."])
    for word in words:
        assert word in html

"""The plain browser of the demo's journey: what it sees of a page, and what it sends."""

import pytest

from assessments.demo.browsing import NotThere, filled, read

PAGE = """
<!doctype html><title>T</title><style>.a{}</style><h1>Contacts <em>at rest</em></h1>
<p>Log what the meter&nbsp;shows.</p><svg><title>hidden</title></svg>
<nav><a href="/back/"><span>Step</span> back</a></nav>
<form method="post" action="here/">
  <input type="hidden" name="id" value="7">
  <input name="text"><textarea name="note">kept</textarea>
  <select name="unit"><option value="Ω" selected>ohm</option><option value="kΩ">kilohm</option></select>
  <select name="tag"><option>A</option><option>B</option></select>
  <label><input type="radio" name="purpose" value="practice">Practice</label>
  <label><input type="radio" name="purpose" value="assessment" checked>Assessment</label>
  <input type="checkbox" name="read"><input type="file" name="photo">
  <input type="submit" name="log" value="Log the reading">
  <button name="qualifier" value="over-limit">OL</button>
</form>
<form action="/else/"><button>Show</button></form>
"""


@pytest.fixture
def page():
    return read(
        status=200, address="http://h/steps/1/", kind="text/html; charset=utf-8", content=PAGE.encode()
    )


def test_a_page_has_what_can_be_read_on_it(page) -> None:
    assert page.heading == "Contacts at rest"
    assert "Log what the meter shows." in page.text
    assert "hidden" not in page.text and ".a" not in page.text
    assert page.link("Step back").address == "/back/"


def test_a_form_sends_what_stands_in_it_and_the_button_that_was_pressed(page) -> None:
    form = page.form("Log the reading")
    assert form.method == "post" and page.form("Show").method == "get"
    assert dict(filled(form, "Log the reading", {"text": "0.5", "unit": "kilohm", "read": "on"})) == {
        "text": "0.5",
        "unit": "kΩ",
        "read": "on",
        "id": "7",
        "note": "kept",
        "tag": "A",
        "purpose": "assessment",
        "log": "Log the reading",
    }
    assert ("qualifier", "over-limit") in filled(form, "OL", {})


@pytest.mark.parametrize(
    ("values", "missing"),
    [
        ({"pressure": "1"}, "no field “pressure”"),
        ({"unit": "mbar"}, "no choice “mbar”"),
        ({"purpose": "play"}, "no choice “play”"),
    ],
)
def test_what_a_form_does_not_offer_cannot_be_sent(page, values, missing) -> None:
    with pytest.raises(NotThere, match=missing):
        filled(page.form("Log the reading"), "Log the reading", values)


def test_a_missing_link_or_button_is_named(page) -> None:
    with pytest.raises(NotThere, match="no link “Next” on “Contacts at rest”"):
        page.link("Next")
    with pytest.raises(NotThere, match="no button “Hand in”"):
        page.form("Hand in")


def test_what_is_not_a_page_is_kept_as_it_came() -> None:
    found = read(status=200, address="http://h/p", kind="application/pdf", content=b"%PDF-1.7")
    assert found.content == b"%PDF-1.7" and not found.text

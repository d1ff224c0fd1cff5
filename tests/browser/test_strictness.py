"""What fails the tests of this folder really does."""

import pytest

from tests.browser.conftest import watch
from tests.browser.inspection import Inspector

STYLE = "document.body.setAttribute('style', 'color: red')"


@pytest.fixture
def watched(browser, live_server):
    """A page at the live server, and the complaints about it."""
    complaints: list[str] = []
    context = browser.new_context(base_url=live_server.url)
    context.on("page", lambda page: watch(page, complaints))
    yield context.new_page(), complaints
    context.close()


def test_an_inline_style_is_against_the_content_policy(watched):
    page, complaints = watched
    page.goto("/sign-in/")
    assert complaints == []
    page.evaluate(STYLE)
    page.wait_for_timeout(200)

    assert "Content Security Policy" in complaints[0]


def test_an_error_in_a_script_is_noticed(watched):
    page, complaints = watched
    page.goto("/sign-in/")
    page.evaluate("setTimeout(() => { throw new Error('out of order') })")
    page.wait_for_timeout(200)

    assert complaints == ["out of order"]


def test_a_file_that_is_missing_is_noticed(watched):
    page, complaints = watched
    page.goto("/static/academy/none.css")

    assert complaints[0].endswith("/static/academy/none.css")


@pytest.mark.parametrize(
    ("damage", "complaint"),
    [
        ("document.querySelector('label').remove()", "label: "),
        ("document.querySelector('main').style.color = '#ddd'", "color-contrast: "),
        ("document.querySelector('main').style.width = '500px'", "px wide on a screen of 320 px"),
        ("document.styleSheets[1].insertRule('* { outline: none !important }')", "doesn't show it"),
        ("document.querySelector('.who, .skip').style.cssText = 'position: fixed; inset: 0'", "focus under"),
    ],
    ids=["no label", "pale", "too wide", "no focus ring", "something over it"],
)
def test_a_damaged_page_is_complained_about(watched, damage, complaint):
    page, _complaints = watched
    page.goto("/sign-in/")
    inspector = Inspector(page=page)
    inspector.look("sound")
    assert inspector.wrong == []
    page.evaluate(damage)
    inspector.seen.clear()
    inspector.look("damaged")

    assert any(complaint in each for each in inspector.wrong), inspector.wrong

import pytest

from assessments.displays import Display


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1.58", "1.58 mbar"),
        ("-1.58", "minus 1.58 mbar"),
        ("0.00", "0.00 mbar"),
        ("OL", "OL, over limit"),
        ("", "no figure"),
    ],
)
def test_what_is_drawn_is_said_too(text, says):
    display = Display.of(text, unit="mbar", instrument="Virtual manometer")

    assert display.says == says
    assert len(display.figures) == len(text)


def test_every_digit_looks_different():
    drawn = {Display.of(digit, unit="", instrument="").figures[0].lit for digit in "0123456789-L"}

    assert len(drawn) == 12


def test_no_figure_is_drawn_outside_or_upon_another():
    display = Display.of("-18.88", unit="mbar", instrument="")
    places = [figure.x for figure in display.figures]

    assert places == sorted(set(places))
    for figure in display.figures:
        for shape in (*figure.lit, *figure.dark):
            for pair in shape.split():
                x, y = map(int, pair.split(","))
                assert 0 <= figure.x + x <= display.width
                assert 0 <= y <= display.height


def test_each_bar_of_a_digit_is_either_lit_or_dark():
    for digit in "0123456789":
        (figure,) = Display.of(digit, unit="", instrument="").figures
        assert len(figure.lit) + len(figure.dark) == 7
        assert not set(figure.lit) & set(figure.dark)


def test_a_sign_that_no_such_display_has_is_refused():
    with pytest.raises(ValueError, match="can't show"):
        Display.of("x", unit="", instrument="")

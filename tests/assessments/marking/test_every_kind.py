"""What holds for every kind of check: marked twice, stored and read back, in any order, in any unit."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.marking.mark import mark
from assessments.marking.numbers import from_document as numbers_from_document
from assessments.marking.readings import CHECKS, mark_readings
from assessments.marking.results import canonical_result, from_document
from assessments.models.tasks import ReadingCheck
from rigs.metrology.conformity import Verdict
from tests.factories.marking import attempt, reading, reading_step

LIMITS = {"lower": 1.0, "upper": 2.0, "unit": "mbar", "source": "maker’s plate", "dated": "2019"}
BATH = {**LIMITS, "lower": 0, "upper": 60, "unit": "°C"}
ERROR = {
    **LIMITS,
    "lower": -1,
    "upper": 1,
    "unit": "°C",
    "calculator": "ntc-10k-error",
    "inputs": {"resistance": "sensor", "temperature": "bath"},
}
MEAN = {"calculator": "mean", "inputs": {"readings": ["taps", "again"]}}
TABLE = {"calculator": "ntc-10k-resistance", "inputs": {"temperature": "bath"}, "allowance": 1.0}
TAPS, CLOSED, OPEN = "taps/fan-running", "contacts/fan-running", "contacts/fan-off"
STEPS = tuple(
    reading_step(slug, order, judged_by, **given)
    for order, (slug, judged_by, given) in enumerate(
        [
            ("leads", "leads", {"expected": ("closed",)}),
            ("tone", "tone", {"expected": ("tone",)}),
            ("zero", "zero", {}),
            ("taps", "agrees", {"measurand": TAPS}),
            ("again", "repeats", {"measurand": TAPS, "parameters": {"of": ["taps"]}}),
            ("crossed", "reverses", {"parameters": {"of": "taps"}}),
            ("blocked", "falls", {"parameters": {"of": "taps", "percent": 80}}),
            ("plate", "conforms", {"parameters": LIMITS}),
            ("across", "closes", {"parameters": {"high": "taps", "low": "blocked"}}),
            ("rest", "contact", {"measurand": OPEN, "parameters": {"leads": "leads"}}),
            ("made", "changes", {"measurand": CLOSED, "parameters": {"of": "rest", "leads": "leads"}}),
            ("mean", "computed", {"parameters": MEAN}),
            ("bath", "conforms", {"parameters": BATH}),
            ("sensor", "conforms", {"parameters": ERROR}),
            ("table", "computed", {"parameters": TABLE}),
        ],
        start=1,
    )
)
GOOD = {
    "leads": "0.2 Ω",
    "tone": "tone",
    "zero": "0.00 mbar",
    "taps": "1.58 mbar",
    "again": "1.60 mbar",
    "crossed": "-1.57 mbar",
    "blocked": "0.03 mbar",
    "plate": "1.58 mbar",
    "across": "1.55 mbar",
    "rest": "OL Ω",
    "made": "0.4 Ω",
    "mean": "1.59 mbar",
    "bath": "40.0 °C",
    "sensor": "5.37 kΩ",
    "table": "5372 Ω",
}
BAD = GOOD | {
    "leads": "3.0 Ω",
    "tone": "no tone",
    "zero": "0.05 mbar",
    "taps": "1.30 mbar",
    "again": "1.60 mbar",
    "crossed": "1.57 mbar",
    "blocked": "1.20 mbar",
    "plate": "2.50 mbar",
    "across": "1.55 mbar",
    "rest": "0.4 Ω",
    "made": "0.4 Ω",
    "mean": "159 mbar",
    "bath": "70.0 °C",
    "sensor": "6.65 kΩ",
    "table": "6652 Ω",
}


def readings(written):
    return tuple(_reading(slug, text) for slug, text in written.items())


def _reading(slug, text):
    figure, _, unit = (text, "", "Ω") if slug == "tone" else text.rpartition(" ")
    return reading(slug, figure, unit=unit)


def marks(written=GOOD, **given):
    return mark(attempt(*STEPS, readings=readings(written), **given)).marks


def test_every_kind_that_a_step_can_name_has_its_check():
    assert CHECKS.keys() == set(ReadingCheck.values)
    assert {each.judged_by for each in STEPS} == CHECKS.keys()


def test_good_work_is_in_range_by_every_kind():
    assert {each.step: each.verdict for each in marks()} == dict.fromkeys(GOOD, Verdict.IN_RANGE)


def test_bad_work_is_never_in_range():
    found = {each.step: each.verdict for each in marks(BAD)}

    assert found.pop("made") is Verdict.BORDERLINE  # leads of 3 Ω read more than the contact with them
    assert found.pop("rest") is Verdict.BORDERLINE
    assert set(found.values()) == {Verdict.OUT_OF_RANGE}


@pytest.mark.parametrize("written", [GOOD, BAD], ids=["good", "bad"])
def test_marking_twice_is_equal_to_the_last_byte(written):
    inputs = attempt(*STEPS, readings=readings(written))

    assert canonical_result(mark(inputs)) == canonical_result(mark(inputs))


@pytest.mark.parametrize("written", [GOOD, BAD], ids=["good", "bad"])
def test_every_kind_comes_back_from_its_document_as_it_was(written):
    marking = mark(attempt(*STEPS, readings=readings(written)))

    assert from_document(json.loads(canonical_result(marking))) == marking


def test_every_kind_but_the_tone_keeps_the_numbers_behind_it():
    assert {each.step for each in marks() if each.numbers is None} == {"tone"}


def test_a_document_from_before_there_were_other_numbers_can_still_be_read():
    (taps,) = (each for each in marks() if each.step == "taps")
    stored = json.loads(canonical_result(mark(attempt(*STEPS, readings=readings(GOOD)))))
    for each in stored["marks"]:
        if each["judged_by"] == "agrees":
            del each["numbers"]["instrument"], each["numbers"]["rig"]
        else:
            each["numbers"] = None

    back = {each.step: each for each in from_document(stored).marks}

    assert (back["taps"].numbers.lower, back["taps"].numbers.rig) == (taps.numbers.lower, None)
    assert back["plate"].numbers is None


@given(st.permutations(readings(GOOD)))
def test_the_order_in_which_readings_are_stored_does_not_matter(shuffled):
    assert mark(attempt(*STEPS, readings=tuple(shuffled))).marks == marks()


IN_OTHER_UNITS = {"mbar": (100, 0, "Pa"), "Ω": (0.001, 5, "kΩ"), "kΩ": (1000, 0, "Ω"), "°C": (1, 2, "K")}


def in_another_unit(text):
    """The same figure and the same last digit, in another unit."""
    figure, _, unit = text.rpartition(" ")
    if unit not in IN_OTHER_UNITS or figure == "OL":
        return text
    factor, more, other = IN_OTHER_UNITS[unit]
    offset = 273.15 if other == "K" else 0
    decimals = max(0, len(figure.partition(".")[2]) + more - (2 if unit == "mbar" else 0))
    return f"{float(figure) * factor + offset:.{decimals}f} {other}"


@given(st.sets(st.sampled_from([slug for slug in GOOD if slug not in {"tone", "mean", "table"}])))
@pytest.mark.parametrize("written", [GOOD, BAD], ids=["good", "bad"])
def test_no_unit_changes_a_verdict(written, chosen):
    changed = {slug: in_another_unit(text) if slug in chosen else text for slug, text in written.items()}

    before = {each.step: each.verdict for each in marks(written)}
    after = {each.step: each.verdict for each in marks(changed)}

    assert after == before


@pytest.mark.parametrize("written", [GOOD, BAD], ids=["good", "bad"])
def test_words_give_no_figure_of_what_was_measured_away(written):
    for each in marks(written):
        if each.judged_by in {
            "agrees",
            "conforms",
            "contact",
            "changes",
            "closes",
            "falls",
            "repeats",
            "reverses",
        }:
            assert not any(letter.isdigit() for letter in each.words), each.words


def test_many_attempts_at_once_are_marked_as_each_would_be_alone():
    some = [
        attempt(
            *STEPS,
            attempt=name,
            readings=tuple(each._replace(id=f"{name}-{each.step}") for each in readings(written)),
        )
        for name, written in (("a", GOOD), ("b", BAD))
    ]

    assert mark_readings(some) == [mark_readings([each])[0] for each in some]


def test_numbers_of_an_unknown_kind_are_refused():
    with pytest.raises(KeyError):
        numbers_from_document({}, judged_by="guessed")

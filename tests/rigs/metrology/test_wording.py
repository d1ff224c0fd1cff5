import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.metrology.conformity import ContactState, Verdict
from rigs.metrology.relations import RelationKind
from rigs.metrology.wording import (
    agreement_sentence,
    agreement_words,
    conformance_sentence,
    conformance_words,
    contact_sentence,
    contact_words,
    distance_words,
    relation_words,
)


@pytest.mark.parametrize(
    ("zeta", "words"),
    [
        (0, "close to the middle"),
        (-0.5, "close to the middle"),
        (1.2, "on the high side"),
        (-1.2, "on the low side"),
        (1.9, "near the upper edge"),
        (-2, "near the lower edge"),
        (2.5, "a little above"),
        (-2.5, "a little below"),
        (5, "above"),
        (-40, "well below"),
        (math.inf, "well above"),
        (math.nan, ""),
    ],
)
def test_a_distance_is_told_in_words(zeta: float, words: str) -> None:
    assert distance_words(zeta, 2) == words


@pytest.mark.parametrize("t_in", [0.0, -1.0, math.nan])
def test_without_a_range_there_is_no_distance(t_in: float) -> None:
    assert not distance_words(1, t_in)


def test_no_sentence_without_numbers_has_one() -> None:
    sentences = [
        *map(agreement_words, Verdict),
        *map(conformance_words, Verdict),
        *map(contact_words, ContactState),
        *(relation_words(kind, verdict=verdict) for kind in RelationKind for verdict in Verdict),
        *(distance_words(zeta / 10, 2) for zeta in range(-100, 101)),
    ]
    assert all(sentences)
    assert not any(character.isdigit() for sentence in sentences for character in sentence)


IN, EDGE, OUT, NONE = Verdict


@pytest.mark.parametrize(
    ("verdict", "reading", "bounds", "sentence"),
    [
        (IN, "2.4", (2.08, 2.61), "within what this rig reads today: 2.4 against 2.1 to 2.6 mbar"),
        (IN, "2.40", (2.083, 2.61), "within what this rig reads today: 2.40 against 2.08 to 2.61 mbar"),
        (OUT, "3.1", (2.08, 2.61), "outside what this rig reads today: 3.1 against 2.1 to 2.6 mbar"),
        # To one decimal the bound would be 2.6, and the reading within it.
        (
            EDGE,
            "2.6",
            (2.08, 2.58),
            "at the edge of what this rig reads today: 2.6 against 2.08 to 2.58 mbar",
        ),
        (
            NONE,
            None,
            (2.0833, 2.5899),
            "can't be judged by what this rig reads today: no value against 2.08 to 2.59 mbar",
        ),
        (NONE, "2.4", (math.nan, math.nan), "can't be judged by what this rig reads today"),
    ],
)
def test_an_agreement_is_one_plain_sentence(
    verdict: Verdict, reading: str | None, bounds: tuple[float, float], sentence: str
) -> None:
    found = agreement_sentence(
        verdict=verdict,
        reading=None if reading is None else Decimal(reading),
        lower=bounds[0],
        upper=bounds[1],
        unit="mbar",
    )
    assert found.replace("\u202f", " ") == sentence


@given(
    reading=st.decimals(0, 5, places=1),
    lower=st.integers(0, 2500).map(lambda digits: digits / 1000),
    width=st.integers(1, 2500).map(lambda digits: digits / 1000),
)
def test_a_sentence_never_contradicts_its_verdict(reading: Decimal, lower: float, width: float) -> None:
    upper = round(lower + width, 3)
    inside = Decimal(str(lower)) <= reading <= Decimal(str(upper))
    verdict = Verdict.IN_RANGE if inside else Verdict.OUT_OF_RANGE
    sentence = agreement_sentence(verdict=verdict, reading=reading, lower=lower, upper=upper, unit="1")
    low, high = sentence.split(" against ")[1].split(" to ")
    assert (Decimal(low) <= reading <= Decimal(high)) is inside


@pytest.mark.parametrize(
    ("reading", "limits", "sentence"),
    [
        ("231.4", (216.2, 253.0), "within the limits: 231.4 against 216.2 to 253.0 V, give or take 2.7 V"),
        # Limits as stated, whatever the reading's digits.
        ("231", (216.2, 253.0), "within the limits: 231 against 216.2 to 253 V, give or take 2.7 V"),
        # 230 V less 6 % is not quite 216.2 in binary.
        (
            "231",
            (230 * (1 - 0.06), 253.0),
            "within the limits: 231 against 216.2 to 253 V, give or take 2.7 V",
        ),
        ("231", (200, math.inf), "within the limits: 231 against at least 200 V, give or take 2.7 V"),
        ("231", (-math.inf, 253), "within the limits: 231 against at most 253 V, give or take 2.7 V"),
    ],
)
def test_a_conformance_is_one_plain_sentence(
    reading: str, limits: tuple[float, float], sentence: str
) -> None:
    found = conformance_sentence(
        verdict=Verdict.IN_RANGE,
        reading=Decimal(reading),
        lower=limits[0],
        upper=limits[1],
        expanded=2.614,
        unit="V",
    )
    assert found.replace("\u202f", " ") == sentence


@pytest.mark.parametrize(
    ("state", "resistance", "sentence"),
    [
        (ContactState.CLOSED, 0.2999, "the contact is closed: 0.3 Ω without the leads, against 1 Ω"),
        (ContactState.OPEN, math.nan, "the contact is open"),
        (
            ContactState.HIGH_RESISTANCE,
            11.7,
            f"{contact_words(ContactState.HIGH_RESISTANCE)}: 11.7 Ω without the leads, against 1 Ω",
        ),
    ],
)
def test_a_contact_is_one_plain_sentence(state: ContactState, resistance: float, sentence: str) -> None:
    found = contact_sentence(state=state, resistance=resistance, limit=1, last=Decimal("0.1"))
    assert found.replace("\u202f", " ") == sentence


def test_a_number_and_its_unit_are_not_parted_at_the_end_of_a_line() -> None:
    found = contact_sentence(state=ContactState.CLOSED, resistance=0.3, limit=1, last=Decimal("0.1"))
    assert "0.3\u202fΩ" in found
    assert "1\u202fΩ" in found


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        (Verdict.IN_RANGE, "the sign reverses"),
        (Verdict.OUT_OF_RANGE, "the sign doesn't reverse"),
        (Verdict.BORDERLINE, "too close to tell whether the sign reverses"),
        (Verdict.CANNOT_JUDGE, "can't be judged whether the sign reverses"),
    ],
)
def test_a_relation_holds_or_not_in_words(verdict: Verdict, words: str) -> None:
    assert relation_words(RelationKind.REVERSES_SIGN, verdict=verdict) == words

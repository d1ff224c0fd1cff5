"""Canonical JSON, byte by byte as RFC 8785 has it, and what differs between two documents."""

import json
from dataclasses import dataclass
from enum import StrEnum

import pytest
import rfc8785
from hypothesis import example, given
from hypothesis import strategies as st

from assessments.marking.canonical import (
    Canonical,
    differences,
    number_as_text,
    object_of,
    whole_as_text,
)

TEXTS = st.text()  # no lone surrogates
SAFE_INTEGERS = st.integers(min_value=-(2**53) + 1, max_value=2**53 - 1)
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
DOCUMENTS = st.recursive(
    st.none() | st.booleans() | SAFE_INTEGERS | NUMBERS | TEXTS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=20,
)
ODD = '"\\/\b\f\n\r\t\x00\x1f\x7f\u2028\u2029é Ω Δp → 😀 \ufeff'


class Mark(StrEnum):
    GOOD = "good"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    name: str
    figures: tuple[float, ...]
    mark: Mark = Mark.GOOD


@dataclass(frozen=True, slots=True, kw_only=True)
class Alone:
    line: Line


@given(DOCUMENTS)
@example({ODD: ODD})
@example({"\ue000": 1, "😀": 2})  # by UTF-16 code unit the other way round than by code point
@example([1e21, 1e-7, 1e16, 1e15, 123456789012345680.0, 5e-324, 1e-4, 9.999e-5, -0.0, 1.0, -1e-6, 2.5e-310])
def test_any_document_is_written_as_rfc_8785_has_it(document):
    assert Canonical()(document).encode() == rfc8785.dumps(document)


@given(TEXTS, st.lists(NUMBERS, max_size=3))
def test_a_dataclass_is_an_object_and_a_member_of_an_enumeration_its_text(name, figures):
    alone = Alone(line=Line(name=name, figures=tuple(figures)))

    assert Canonical()(alone).encode() == rfc8785.dumps(
        {"line": {"name": name, "figures": figures, "mark": "good"}}
    )


@pytest.mark.parametrize("figure", [float("nan"), float("inf"), float("-inf")])
@pytest.mark.parametrize("write", [Canonical(), Canonical(number=number_as_text)])
def test_what_is_no_number_is_refused(write, figure):
    with pytest.raises(ValueError, match=r"nan|inf"):
        write([figure])


def test_a_lone_surrogate_is_refused():
    with pytest.raises(UnicodeEncodeError):
        Canonical()("\ud800").encode()


def test_a_value_that_has_no_place_in_a_document_is_refused():
    with pytest.raises(TypeError, match="set has no place"):
        Canonical()({"a": {1}})


@given(NUMBERS)
def test_a_number_as_text_reads_back_as_the_same_number(figure):
    assert float(json.loads(number_as_text(figure))) == figure


@given(st.integers(min_value=-(10**15), max_value=10**15))
def test_equal_numbers_have_equal_texts(whole):
    assert number_as_text(float(whole)) == whole_as_text(whole) == number_as_text(whole)


def test_an_object_is_put_together_in_order():
    assert object_of({"b": "1", "a": "[]"}) == '{"a":[],"b":1}'


class TestDifferences:
    def test_equal_documents_have_none(self):
        assert differences({"a": [1, {"b": None}]}, {"a": [1, {"b": None}]}) == []

    def test_each_is_named_with_both_values(self):
        assert differences({"a": [1, {"b": "x"}]}, {"a": [1, {"b": "y"}]}) == ["/a/1/b: was 'x', is 'y'"]

    def test_a_member_that_is_nothing_is_not_one_that_is_absent(self):
        assert differences({"a": None}, {}) == ["/a: was None, is absent"]
        assert differences({}, {"a": None}) == ["/a: was absent, is None"]

    def test_one_item_more_is_not_a_difference_in_all_that_follow(self):
        before = [{"step": "zero", "text": "0.00"}, {"step": "taps", "text": "1.58"}]

        lines = differences({"readings": before}, {"readings": before[1:]})

        assert lines == ["/readings/zero: was {'step': 'zero', 'text': '0.00'}, is absent"]

    def test_lists_whose_items_nothing_names_are_given_whole(self):
        assert differences({"a": [1, 2]}, {"a": [1]}) == ["/a: was [1, 2], is [1]"]
        two = [{"step": "a", "n": "1"}, {"step": "a", "n": "2"}]
        assert differences(two, two[:1]) == [f"/: was {two!r}, is {two[:1]!r}"]

    @given(DOCUMENTS, DOCUMENTS)
    def test_there_is_one_exactly_when_documents_are_unequal(self, before, after):
        # Of a document that has been through JSON and back: True isn't 1 there.
        same = rfc8785.dumps(before) == rfc8785.dumps(after)
        assert bool(differences(before, after)) != same

"""The ledger's hash and its canonical JSON against the standards' own examples."""

import hashlib
import json
from ast import literal_eval

import pytest
import rfc8785

from academy import ledger
from academy.models import LedgerEntry
from tests.factories.academy import AT
from tests.published.entries import entry, label

DIGESTS = entry("ledger", "T15-01")
KEY_ORDER = entry("ledger", "T15-04")
NUMBERS = entry("ledger", "T15-05")
SAMPLE = entry("ledger", "T15-06")

MESSAGES = {
    printed: ("a" * 1_000_000 if printed == "1e6 x a" else printed, digest)
    for printed, digest in zip(DIGESTS["inputs"]["messages"], DIGESTS["expected"]["digests"], strict=True)
}

# As the standard's example is written, before it is made canonical. From memory, like the entry itself.
SAMPLE_TEXT = r"""{
    "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
    "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
    "literals": [null, true, false]
}"""


def body_with(facts):
    blank = LedgerEntry(centre_id=None, number=1, at=AT, verb="rig.note", subject="rig-1")
    return ledger._body(blank, facts)


@pytest.mark.parametrize(
    ("message", "digest"),
    [pytest.param(*pair, id=label(DIGESTS, f"message {printed!r}")) for printed, pair in MESSAGES.items()],
)
def test_the_hash_is_sha_256(message, digest):
    assert hashlib.sha256(message.encode()).hexdigest() == digest


@pytest.mark.parametrize(
    ("message", "digest"),
    [
        pytest.param(*pair, id=label(DIGESTS, f"message {printed!r}, cut in two"))
        for printed, pair in MESSAGES.items()
        if len(pair[0]) > 32
    ],
)
def test_an_entrys_hash_covers_the_previous_hash_and_then_the_body(message, digest):
    # The message's first 32 bytes stand in for the hash before, the rest for the body.
    assert ledger.entry_hash(message[:32].encode().hex(), message[32:]) == digest


@pytest.mark.parametrize("item", [pytest.param(KEY_ORDER, id=label(KEY_ORDER))])
def test_facts_are_sorted_by_utf_16_code_units(item):
    given = item["inputs"]["object"]
    expected = [literal_eval(key) for key in item["expected"]["key_order"]]
    assert expected != sorted(given)  # which is what sorting by code points would give
    assert list(json.loads(body_with(given))["facts"]) == expected


@pytest.mark.parametrize(
    ("number", "text"),
    [
        pytest.param(number, text, id=label(NUMBERS, number))
        for number, text in zip(NUMBERS["inputs"]["numbers"], NUMBERS["expected"]["out"], strict=True)
    ],
)
def test_numbers_are_written_as_ecmascript_writes_them(number, text):
    # Compared as text. The ledger itself takes no numbers; files that are hashed beside it may.
    assert rfc8785.dumps(float(number)).decode() == text


@pytest.mark.parametrize("number", [float("nan"), float("inf"), float("-inf")], ids=str)
def test_what_is_no_number_is_not_written(number):
    with pytest.raises(rfc8785.FloatDomainError):
        rfc8785.dumps(number)


@pytest.mark.parametrize("item", [pytest.param(SAMPLE, id=label(SAMPLE))])
def test_a_whole_object_comes_out_as_printed(item):
    given = json.loads(SAMPLE_TEXT)
    assert rfc8785.dumps(given).decode() == item["expected"]["canonical"]


@pytest.mark.parametrize("item", [pytest.param(SAMPLE, id=label(SAMPLE, "without its numbers"))])
def test_a_ledger_body_holds_the_same_bytes(item):
    given = json.loads(SAMPLE_TEXT)
    del given["numbers"]
    literals, rest = item["expected"]["canonical"].split(',"numbers":')
    string = rest.split("],", 1)[1]
    assert f'"facts":{literals},{string}' in body_with(given)

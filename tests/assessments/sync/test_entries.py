"""What isn't a batch is refused whole, in words that say where it stops being one."""

import json
from uuid import UUID, uuid4

import pytest

from assessments.sync.entries import HandIn, Logged, UnreadableBatch, read_batch

NOW = "2025-01-06T10:15:00Z"


def entry(**changes: object) -> dict[str, object]:
    number = str(uuid4())
    return {
        "id": number,
        "attempt": str(UUID(int=1)),
        "sequence": 1,
        "kind": "reading",
        "device_at": NOW,
        "payload": {"position": 1, "fields": {"text": "0.2"}},
    } | changes


def text(*entries: object, **changes: object) -> str:
    batch = {"owner": str(uuid4()), "device": str(uuid4()), "device_now": NOW, "entries": list(entries)}
    return json.dumps(batch | changes)


def test_a_batch_is_read():
    batch = read_batch(
        text(entry(), entry(kind="hand-in", sequence=2, payload={"needs": [str(UUID(int=3))]}))
    )

    assert batch.entries[0].does == Logged(position=1, fields={"text": "0.2"})
    assert batch.entries[1].does == HandIn(needs=frozenset({UUID(int=3)}))
    assert batch.device_now.isoformat() == "2025-01-06T10:15:00+00:00"


def test_each_attempt_is_in_the_devices_order_whatever_the_order_of_sending_and_the_clock():
    other = str(UUID(int=2))
    sent = [
        entry(sequence=3, device_at="2025-01-06T08:00:00Z"),
        entry(sequence=1, attempt=other),
        entry(sequence=2, device_at="2031-01-06T08:00:00Z"),
    ]

    found = read_batch(text(*sent)).in_order()

    assert [(each.attempt.int, each.sequence) for each in found] == [(1, 2), (1, 3), (2, 1)]


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ("", "It isn’t JSON."),
        ("[" * 100_000, "It isn’t JSON."),
        ("[]", "entries is missing in the batch."),
        (text(owner=7), "owner in the batch isn’t text."),
        (text(owner="me"), "owner in the batch isn’t a UUID."),
        (text(device_now="noon"), "device_now in the batch isn’t a date and time."),
        (
            text(device_now="2025-01-06T10:15:00"),
            "device_now in the batch isn’t a date and time with its zone.",
        ),
        (
            text(device_now="9999-01-06T10:15:00Z"),
            "device_now in the batch isn’t a date and time with its zone.",
        ),
        (text(entries={}), "entries in the batch isn’t a list."),
        (text(*[entry()] * 2), "Two entries have one id."),
        (text(*[1] * 501), "More than 500 entries at once."),
        (text(1), "kind is missing in entry 1."),
        (text(entry(), entry(kind="mark")), "kind in entry 2 isn’t one that is known."),
        (text(entry(sequence=0)), "sequence in entry 1 isn’t a whole number from 1 to 2147483647."),
        (text(entry(sequence=True)), "sequence in entry 1 isn’t a whole number from 1 to 2147483647."),
        (
            text(entry(payload={"position": 1, "fields": {"text": 2}})),
            "fields in payload of entry 1 isn’t an object of texts.",
        ),
        (text(entry(kind="hand-in", payload={"needs": [4]})), "0 in needs isn’t text."),
        (
            text(
                entry(
                    kind="start",
                    payload={
                        "rig": str(uuid4()),
                        "version": str(uuid4()),
                        "instruments": {},
                        "cautions_read": True,
                    },
                )
            ),
            "id in entry 1 isn’t the attempt’s, which it starts.",
        ),
    ],
)
def test_what_is_no_batch_is_refused_in_words(sent, words):
    with pytest.raises(UnreadableBatch) as refused:
        read_batch(sent)
    assert str(refused.value) == words

"""Published values that the engine is checked against, each with its source, clause and how it is known.

`how_known`: seen (in a stored copy), memory (recalled, recomputed here), recomputed (from a formula).
"""

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

Entry = dict[str, Any]


def entry(name: str, identifier: str) -> Entry:
    found: list[Entry] = json.loads(Path(__file__).with_name(f"{name}.json").read_text(encoding="utf-8"))
    return next(item for item in found if item["id"] == identifier)


def label(item: Entry, *more: object) -> str:
    """Source, clause and how it is known, for a test's id."""
    source = f"{item['source']}, {item['clause']} ({item['how_known']})"
    return ", ".join([source, *map(str, more)])


def rows(name: str, identifier: str, *, of: str, by: str) -> list[Any]:
    """One case for each printed figure of a column `of`, beside its input in column `by`."""
    item = entry(name, identifier)
    return [
        pytest.param(given, printed, id=label(item, f"{of} at {given}"))
        for given, printed in zip(item["inputs"][by], item["expected"][of], strict=True)
    ]


def half_a_digit(printed: str) -> float:
    """Half a unit in the last digit printed: how far a rounded figure may be from the exact one."""
    exponent = Decimal(printed).as_tuple().exponent
    assert isinstance(exponent, int)
    return 0.5 * 10.0**exponent * (1 + 1e-9)

"""What the engine is measured against: the same arithmetic written out in NumPy, and the same rows raw."""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np
from django.db import connection, transaction
from numpy.typing import NDArray
from scipy.special import stdtrit

from assessments.models import Attempt, AttemptInstrument, Outcome, Photo, Reading, StepRecord
from tests.benchmarks.window import Row, insert

Column = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Columns in Pa: readings, what each is compared with, and what the display's maker says of it."""

    reading: Column
    value: Column
    repeat_sd: Column
    repeat_dof: Column
    repeat_share: Column
    value_u: Column
    percent_reading: Column
    counts: Column
    resolution: Column
    floor: Column


def readings(*, count: int, seed: int = 1) -> Readings:
    """Readings as they are typed, to whole pascals, on some hundred rigs and days, with four manometers."""
    rng = np.random.default_rng(seed)
    sheets = max(1, min(400, count // 100))
    sheet = rng.integers(sheets, size=count)
    value = rng.uniform(120, 200, sheets)[sheet]
    sd = rng.uniform(0.8, 2.6, sheets)[sheet]
    meter = rng.integers(4, size=count)
    return Readings(
        reading=np.round(value + rng.normal(0, 2.5, count)),
        value=value,
        repeat_sd=sd,
        repeat_dof=rng.integers(7, 12, sheets)[sheet].astype(float),
        repeat_share=rng.uniform(0.05, 0.3, sheets)[sheet],
        value_u=rng.uniform(0.2, 1.2, sheets)[sheet],
        percent_reading=np.array([0.3, 0.5, 0.5, 1.0])[meter],
        counts=np.array([1.0, 1.0, 2.0, 1.0])[meter],
        resolution=np.array([1.0, 1.0, 0.1, 1.0])[meter],
        floor=0.01 * value,
    )


def agreement_by_hand(columns: Readings) -> tuple[Column, ...]:
    """ζ, u, ν, both quantiles, the range's ends, and whether in (0), between (1) or out (2).

    A t quantile once for each distinct ν. All instruments and values have infinitely many degrees of freedom.
    """
    y, m, r = columns.reading, columns.value, columns.resolution
    a = columns.percent_reading * np.abs(y) / 100 + columns.counts * r
    repeat = columns.repeat_sd**2 * (1 + columns.repeat_share)
    variance = repeat + columns.value_u**2 + a**2 / 3 + r**2 / 12
    dof = variance**2 / (repeat**2 / columns.repeat_dof)
    distinct, where = np.unique(dof, return_inverse=True)
    t_in = stdtrit(distinct, (1 + 0.9545) / 2)[where]
    t_out = stdtrit(distinct, (1 + 0.9973) / 2)[where]
    u = np.maximum(np.sqrt(variance), columns.floor / t_in)
    zeta = (y - m) / u
    off = np.abs(zeta)
    code = np.where(off <= t_in * (1 + 1e-9), 0, np.where(off >= t_out * (1 - 1e-9), 2, 1)).astype(np.int8)
    return zeta, u, dof, t_in, t_out, m - t_in * u, m + t_in * u, code


READ: dict[Any, tuple[str, ...]] = {
    Attempt: ("id", "version_id", "sheet_id", "rig_id", "fault_id"),
    AttemptInstrument: ("attempt_id", "id", "kind", "instrument_id", "calibration_id", "model_id"),
    Outcome: ("attempt_id", "number", "engine", "inputs_sha256", "proposal", "result"),
    Reading: (
        "attempt_id",
        "id",
        "step_id",
        "sequence",
        "supersedes_id",
        "instrument_id",
        "text",
        "unit",
        "qualifier",
        "si_value",
        "si_resolution",
    ),
    StepRecord: ("attempt_id", "id", "step_id", "sequence", "supersedes_id", "done", "answer", "note"),
    Photo: ("attempt_id", "id", "step_id", "sequence", "supersedes_id", "sha256"),
}
"""What marking again reads of each attempt, by table; the first column is the attempt's id."""


@transaction.atomic
def read_hash_write(attempts: Sequence[UUID], outcomes: Iterable[Row]) -> None:
    """Read what a re-marking of these attempts reads, hash what it hashes, and write what it writes."""
    pk = Attempt._meta.pk
    keys = [pk.get_db_prep_value(each, connection) for each in attempts]
    places = ", ".join(["%s"] * len(keys))
    with connection.cursor() as cursor:
        for model, columns in READ.items():
            cursor.execute(
                f"SELECT {', '.join(columns)} FROM {model._meta.db_table} "  # noqa: S608
                f"WHERE {columns[0]} IN ({places})",
                keys,
            )
            cursor.fetchall()
    rows = list(outcomes)
    for row in rows:
        for text in (row[INPUTS], row[RESULT]):
            hashlib.sha256(text.encode()).hexdigest()
    insert(Outcome, rows)


_COLUMNS = [field.attname for field in Outcome._meta.concrete_fields]
INPUTS, RESULT = _COLUMNS.index("inputs"), _COLUMNS.index("result")

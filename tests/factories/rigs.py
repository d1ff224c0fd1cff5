"""Rigs, instruments and what was read on them, made by the verbs that the site uses. All of it invented.

Noise is seeded, so that a rig reads the same in every run. Baselines are taken on the three days before `at`
and approved on the evening before, so `at` itself finds a rig that is ready to be checked.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cache
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np

from academy import json_files
from academy.models import Person, Role
from rigs import baselines, calibrations, catalogue, checks, register
from rigs.calibrations import PointLine
from rigs.instruments import KIND_FOR_QUANTITY
from rigs.metrology.environment import REFERENCE_DENSITY, air_density
from rigs.metrology.quantities import Quantity
from rigs.metrology.readings import TypedReading, parse
from rigs.models import Baseline, Calibration, Check, Instrument, InstrumentModel, Measurand, Rig, RigDesign
from rigs.models.baselines import Outlier
from rigs.models.designs import ContactState, MeasurandKind
from rigs.models.instruments import CALIBRATED_KINDS, InstrumentKind
from rigs.register import RangeLine
from rigs.rooms import Room
from tests.factories.academy import AT, ManagerFactory, person_with

DESIGNS = Path(__file__).parents[2] / "fixtures" / "designs"
TWO_TERMINAL = "two-terminal-switch-rig"
ISOLATION_BOARD = "isolation-board"

# Specifications of no real maker. The fine one can judge a venturi's 1.6 mbar, the coarse one can't.
FINE_MANOMETER = (
    RangeLine(
        quantity=Quantity.PRESSURE, unit="mbar", full_scale=20, resolution=0.01, percent_reading=0.5, counts=1
    ),
)
REFERENCE_MANOMETER = (
    RangeLine(
        quantity=Quantity.PRESSURE,
        unit="mbar",
        full_scale=20,
        resolution=0.001,
        percent_reading=0.1,
        counts=2,
    ),
)
COARSE_MANOMETER = (
    RangeLine(
        quantity=Quantity.PRESSURE, unit="mbar", full_scale=150, resolution=0.1, percent_full_scale=0.5
    ),
)
MULTIMETER = (
    RangeLine(
        quantity=Quantity.RESISTANCE,
        unit="Ω",
        full_scale=600,
        resolution=0.1,
        percent_reading=0.9,
        counts=3,
        continuity_threshold=40,
    ),
    RangeLine(
        quantity=Quantity.RESISTANCE, unit="MΩ", full_scale=40, resolution=0.01, percent_reading=1.5, counts=3
    ),
)
VOLTAGE_INDICATOR = (RangeLine(quantity=Quantity.VOLTAGE, unit="V", full_scale=690, resolution=1),)
THERMOMETER = (
    RangeLine(quantity=Quantity.TEMPERATURE, unit="°C", full_scale=150, resolution=0.01, counts=5),
)
STOPWATCH = (RangeLine(quantity=Quantity.TIME, unit="s", full_scale=3600, resolution=0.01, counts=20),)
GAS_METER = (
    RangeLine(quantity=Quantity.VOLUME, unit="m³", full_scale=100, resolution=0.001, percent_reading=0.5),
)
RANGES: Mapping[InstrumentKind, Sequence[RangeLine]] = {
    InstrumentKind.MANOMETER: FINE_MANOMETER,
    InstrumentKind.MULTIMETER: MULTIMETER,
    InstrumentKind.VOLTAGE_INDICATOR: VOLTAGE_INDICATOR,
    InstrumentKind.THERMOMETER: THERMOMETER,
    InstrumentKind.STOPWATCH: STOPWATCH,
    InstrumentKind.GAS_METER: GAS_METER,
}
UNIT_OF_KIND = {
    InstrumentKind.MANOMETER: "mbar",
    InstrumentKind.MULTIMETER: "Ω",
    InstrumentKind.THERMOMETER: "°C",
}
QUANTITY_OF_KIND = {kind: quantity for quantity, kind in KIND_FOR_QUANTITY.items()}

RUNNING = 1.58
"""Mean pressure difference of a healthy rig with its fan running, in mbar."""
REPEAT_SD = 0.019
LEVELS = {
    "high-tap:fan-running": 0.66,
    "make-point:hand-pump": 0.95,
    "break-point:hand-pump": 0.72,
    "winding:fan-parted": 52.3,
    "l-n:isolated": 83.0,
}
"""Means of the other levels, in the unit of their test points."""

PDF = b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\nstartxref\n9\n%%EOF\n"
"""A certificate's file, as far as its content tells."""

_numbers = count(1)


def load_designs(
    *, by: Person, at: datetime = AT, slugs: Sequence[str] = (TWO_TERMINAL, ISOLATION_BOARD)
) -> dict[str, RigDesign]:
    """Those designs of the fixtures, by their slugs, at the centre of `by`."""
    return {
        slug: catalogue.load_design(centre=by.centre, data=design_data(slug), by=by, at=at) for slug in slugs
    }


@cache
def design_data(slug: str) -> dict[str, Any]:
    """A design as it is written in the fixtures."""
    return json_files.read(DESIGNS / f"{slug}.json").data


def instrument_model(
    *,
    by: Person,
    kind: InstrumentKind = InstrumentKind.MANOMETER,
    ranges: Sequence[RangeLine] | None = None,
    name: str = "",
    at: datetime = AT,
) -> InstrumentModel:
    """Make a model of a kind; one with that name that is there already is given back."""
    name = name or f"Bench {kind.label.lower()}"
    found = InstrumentModel.objects.filter(centre=by.centre, name=name).first()
    if found is not None:
        return found
    return register.add_instrument_model(
        centre=by.centre,
        kind=kind,
        name=name,
        ranges=RANGES[kind] if ranges is None else ranges,
        by=by,
        at=at,
    )


def instrument(
    *,
    by: Person,
    kind: InstrumentKind = InstrumentKind.MANOMETER,
    tag: str = "",
    ranges: Sequence[RangeLine] | None = None,
    model: InstrumentModel | None = None,
    is_reference: bool = False,
    certified: bool = True,
    at: datetime = AT,
) -> Instrument:
    """Make an instrument, with a certificate in force at `at` where its kind is calibrated."""
    number = next(_numbers)
    name = f"{kind.label} model {number}" if ranges is not None else ""
    model = model or instrument_model(by=by, kind=kind, ranges=ranges, name=name, at=at)
    made = register.add_instrument(
        model=model,
        tag=tag or f"X-{number:03d}",
        serial=f"S{number:05d}",
        is_reference=is_reference,
        by=by,
        at=at,
    )
    if certified and kind in CALIBRATED_KINDS:
        certificate(of=made, by=by, at=at)
    return made


def certificate(
    *,
    of: Instrument,
    by: Person,
    on: date | None = None,
    due: date | None = None,
    at: datetime = AT,
    number: str = "",
    points: Sequence[PointLine] | None = None,
    as_found_in_tolerance: bool = True,
    late_note: str = "",
) -> Calibration:
    """Record a certificate: made a month before `at` and good for a year, unless said otherwise."""
    made_on = on or at.date() - timedelta(days=30)
    return calibrations.record(
        instrument=of,
        certificate=number or f"C-{next(_numbers):05d}",
        laboratory="Quarry Lane Calibration",
        calibrated_on=made_on,
        due_on=due or made_on + timedelta(days=365),
        points=certificate_points(kind=InstrumentKind(of.model.kind)) if points is None else points,
        as_found_in_tolerance=as_found_in_tolerance,
        late_note=late_note,
        by=by,
        at=at,
    )


def certificate_points(*, kind: InstrumentKind) -> list[PointLine]:
    quantity, unit = QUANTITY_OF_KIND[kind], UNIT_OF_KIND[kind]
    nominals = (0.5, 1.0, 2.0) if kind is InstrumentKind.MANOMETER else (0.5, 10.0, 100.0)
    return [
        PointLine(
            quantity=quantity,
            unit=unit,
            nominal=nominal,
            as_found_error=0.0,
            as_left_error=0.0,
            expanded_u=0.002 * nominal,
        )
        for nominal in nominals
    ]


def rig(
    *,
    by: Person,
    tag: str = "",
    design: RigDesign | None = None,
    place: str = "Electrical bay",
    electrical_inspection_due: date | None = None,
    at: datetime = AT,
) -> Rig:
    """Make a rig, a two-terminal one unless another design is given. It has no baseline yet."""
    design = design or load_designs(by=by, at=at)[TWO_TERMINAL]
    due = electrical_inspection_due or at.date() + timedelta(days=200)
    return register.add_rig(
        design=design,
        tag=tag or f"VB-{next(_numbers):03d}",
        place=place,
        electrical_inspection_due=due,
        by=by,
        at=at,
    )


def typed(measurand: Measurand, text: str) -> TypedReading:
    """What a person types for a measurand, in the unit of its test point."""
    point = measurand.test_point
    return parse(text, quantity=Quantity(point.quantity), unit=point.unit)


def run(
    *,
    of: Rig,
    rng: np.random.Generator,
    running: float = RUNNING,
    texts: Mapping[str, str] | None = None,
    measurands: Iterable[Measurand] | None = None,
) -> dict[Measurand, TypedReading]:
    """One reading of every measurand, or of those given, with reference instruments, leads nulled.

    `running` is the level with the fan on, in mbar. `texts` replaces readings, by key: "taps:fan-running".
    """
    texts = texts or {}
    return {
        each: typed(each, texts.get(key_of(each)) or _text(each, rng=rng, running=running))
        for each in (baselines.measurands_of(of) if measurands is None else measurands)
    }


def check_run(*, of: Rig, **given: Any) -> dict[Measurand, TypedReading]:
    """As `run`, of what a check reads."""
    return run(of=of, measurands=checks.measurands_of(of), **given)


def key_of(measurand: Measurand) -> str:
    return f"{measurand.test_point.slug}:{measurand.condition.slug}"


def _text(measurand: Measurand, *, rng: np.random.Generator, running: float) -> str:
    if measurand.kind == MeasurandKind.STATE:
        is_open = measurand.expected_state == ContactState.OPEN
        return "OL" if is_open else f"{0.1 + 0.2 * rng.random():.1f}"
    if measurand.condition.slug == "fan-off":
        return f"{rng.normal(0.0, 0.002):.3f}"
    return f"{rng.normal(LEVELS.get(key_of(measurand), running), REPEAT_SD):.3f}"


def noise(tag: str) -> np.random.Generator:
    """The same noise for the same rig each time."""
    return np.random.default_rng([ord(letter) for letter in tag])


def open_baseline(
    *,
    of: Rig,
    instruments: Mapping[str, Instrument],
    by: Person,
    runs: int = 10,
    days: int = 3,
    running: float = RUNNING,
    at: datetime = AT,
    texts: Sequence[Mapping[str, str]] = (),
    rooms: Sequence[Room | None] = (),
) -> Baseline:
    """Make a baseline with its runs, spread over the `days` before `at`; not handed over yet.

    `texts` replaces readings of a run, the first runs first; `rooms` is the air that each was made in, and
    scales what follows it.
    """
    rng = noise(of.tag)
    moments = _moments(runs=runs, days=days, at=at)
    baseline = baselines.start(rig=of, by=by, at=moments[0])
    for number, moment in enumerate(moments):
        changed = texts[number] if number < len(texts) else {}
        room = rooms[number] if number < len(rooms) else None
        readings = run(of=of, rng=rng, running=running * in_air(room), texts=changed)
        baselines.add_run(
            baseline=baseline, readings=readings, instruments=instruments, by=by, at=moment, room=room
        )
    return baseline


def _moments(*, runs: int, days: int, at: datetime) -> list[datetime]:
    """When each run is made: as even as can be over the days, ten minutes apart, from the oldest day on."""
    per_day = [len(part) for part in np.array_split(np.arange(runs), days)]
    return [
        at - timedelta(days=days - day) + timedelta(minutes=10 * place)
        for day, many in enumerate(per_day)
        for place in range(many)
    ]


def approved_baseline(*, second: Person, at: datetime = AT, **given: Any) -> Baseline:
    """Make a baseline by `by`, approved by `second` on the evening before `at`."""
    baseline = open_baseline(at=at, **given)
    decided = at - timedelta(hours=12)
    baselines.hand_over(baseline=baseline, by=given["by"], at=decided)
    keep_outliers(baseline, by=second, at=decided)
    return baselines.approve(baseline=baseline, by=second, at=decided)


def keep_outliers(baseline: Baseline, *, by: Person, at: datetime) -> None:
    """Noise has a reading stand apart now and then."""
    for reading in baselines.flagged_readings(baseline=baseline).filter(outlier=""):
        baselines.decide_on(
            reading=reading, outlier=Outlier.KEPT, reason="Nothing seen at that run.", by=by, at=at
        )


def check(
    *,
    of: Rig,
    instruments: Mapping[str, Instrument],
    by: Person,
    at: datetime = AT,
    runs: int = 3,
    running: float = RUNNING,
    texts: Mapping[str, str] | None = None,
    room: Room | None = None,
) -> Check:
    """Record a check of a rig that reads `running` mbar at `at`; `texts` replaces readings in every run."""
    rng = noise(f"{of.tag} {at.isoformat()}")
    made = [check_run(of=of, rng=rng, running=running, texts=texts) for _ in range(runs)]
    return checks.record(rig=of, runs=made, instruments=instruments, by=by, at=at, room=room)


def in_air(room: Room | None) -> float:
    """By how much a venturi reads more there than in reference air."""
    return 1.0 if room is None else air_density(room.air).value / REFERENCE_DENSITY


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A centre with people, a two-terminal rig with an approved baseline, and instruments to read it with."""

    manager: Person
    technician: Person
    assessor: Person
    designs: Mapping[str, RigDesign]
    rig: Rig
    references: Mapping[str, Instrument]
    manometer: Instrument
    multimeter: Instrument
    indicator: Instrument
    at: datetime

    @property
    def in_hand(self) -> dict[str, Instrument]:
        """What a candidate takes off the shelf, by kind."""
        return {str(each.model.kind): each for each in (self.manometer, self.multimeter, self.indicator)}

    def check(self, **given: Any) -> Check:
        """Check the rig with the reference instruments, at `at` unless another moment is given."""
        given = {"of": self.rig, "instruments": self.references, "by": self.technician, "at": self.at} | given
        return check(**given)


def open_bench(
    *,
    by: Person | None = None,
    at: datetime = AT,
    tag: str = "VB-01",
    with_baseline: bool = True,
    running: float = RUNNING,
) -> Bench:
    """Set a bench up at the centre of `by`, or at a centre of its own."""
    manager = by or ManagerFactory()
    technician = person_with(Role.Kind.TECHNICIAN, by=manager)
    assessor = person_with(Role.Kind.ASSESSOR, by=manager)
    # A certificate lasts the baseline's days as well.
    references = reference_instruments(by=technician, at=at)
    made = rig(by=technician, tag=tag, at=at)
    if with_baseline:
        approved_baseline(
            of=made, instruments=references, by=technician, second=assessor, running=running, at=at
        )
    return Bench(
        manager=manager,
        technician=technician,
        assessor=assessor,
        designs=load_designs(by=manager, at=at),
        rig=made,
        references=references,
        manometer=instrument(by=technician, kind=InstrumentKind.MANOMETER, tag="MN-02", at=at),
        multimeter=instrument(by=technician, kind=InstrumentKind.MULTIMETER, tag="DM-02", at=at),
        indicator=instrument(by=technician, kind=InstrumentKind.VOLTAGE_INDICATOR, tag="VI-01", at=at),
        at=at,
    )


def reference_instruments(*, by: Person, at: datetime = AT) -> dict[str, Instrument]:
    """A reference manometer MN-01 and multimeter DM-01, by kind."""
    manometer = instrument(
        by=by,
        kind=InstrumentKind.MANOMETER,
        tag="MN-01",
        ranges=REFERENCE_MANOMETER,
        is_reference=True,
        at=at,
    )
    multimeter = instrument(
        by=by, kind=InstrumentKind.MULTIMETER, tag="DM-01", ranges=MULTIMETER, is_reference=True, at=at
    )
    return {"manometer": manometer, "multimeter": multimeter}

"""The demo's centre as data: `fixtures/demo.json` as frozen values, which a trainer can read and change."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import time
from pathlib import Path
from typing import Any

from assessments.demo.timetable import When
from rigs.behaviour.faults import Fault
from rigs.behaviour.venturi import VenturiRig
from rigs.metrology.quantities import Quantity, to_si
from rigs.register import RangeLine

Data = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonPlan:
    name: str
    roles: tuple[str, ...]
    weeks: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CohortPlan:
    """``tasks`` are those planned for it, by their slugs; all if none is named."""

    name: str
    week: int
    weeks: int
    candidates: tuple[str, ...]
    tasks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocking:
    """The outlet fills with dust from that week's Monday on: so many percent of the healthy Δp a week."""

    week: int
    percent_a_week: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Slowing:
    """From one morning on the fan runs at that share of its speed."""

    week: int
    day: str
    speed: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RigPlan:
    """``model`` is what the rig is really like, which nobody there knows; None without a venturi.

    A rig without one may have ``levels`` that stay: mean and standard deviation of repeats, in the unit of
    the test point, by “test-point/condition”.
    """

    tag: str
    design: str
    place: str
    inspection_due_in_days: int
    checked: tuple[str, ...]
    model: VenturiRig | None = None
    blocking: Blocking | None = None
    slowing: Slowing | None = None
    levels: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def is_characterised(self) -> bool:
        return self.model is not None or bool(self.levels)


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelPlan:
    name: str
    kind: str
    ranges: tuple[RangeLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificatePlan:
    """Days before and after the moment of loading; ``days_left`` is negative for an overdue one."""

    number: str
    days_old: int
    days_left: int
    as_left_error: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentPlan:
    tag: str
    model: ModelPlan
    reference: bool = False
    certificate: CertificatePlan | None = None
    leads: float = 0.2
    loses_percent_a_week: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldPlan:
    on: str
    by: str
    reason: str
    when: When


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundOutPlan:
    """A certificate that finds an instrument out of tolerance: nominal values with their errors as found."""

    on: str
    number: str
    days_good: int
    as_found: tuple[tuple[float, float], ...]
    when: When


@dataclass(frozen=True, slots=True, kw_only=True)
class PriorPlan:
    candidates: tuple[str, ...]
    task: str
    by: str
    evidence: str
    when: When


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """What an assessor decides where the marking leaves it to them, and by what."""

    decision: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Struck:
    """What was typed first, and why it was corrected."""

    text: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptPlan:
    """One attempt, by the slugs of its steps: how it differs from careful work on a healthy rig.

    Verdicts aren't in it: they come from the marking. Without an assessor it waits for review. ``finer`` are
    readings with a digit too many; ``copies`` names whose readings are typed instead of one's own,
    ``borrows_photos_of`` whose photos are sent in; ``photo_days_old`` is when they were really taken.
    """

    candidate: str
    task: str
    rig: str
    instruments: tuple[str, ...]
    when: When
    assessor: str = ""
    purpose: str = "assessment"
    fault: Fault | None = None
    severity: float = 0.5
    skips: frozenset[str] = frozenset()
    late: frozenset[str] = frozenset()
    slips: Mapping[str, Fault] = field(default_factory=dict)
    speeds: Mapping[str, float] = field(default_factory=dict)
    strikes: Mapping[str, Struck] = field(default_factory=dict)
    finer: frozenset[str] = frozenset()
    copies: str = ""
    borrows_photos_of: str = ""
    photo_days_old: int = 0
    seconds_a_step: tuple[float, float] | None = None
    stops_after: str = ""
    judgement: Judgement | None = None
    feedback: str = ""

    @property
    def label(self) -> str:
        """Tells this attempt from all others, to seed its noise by."""
        return f"{self.candidate} {self.task} {self.rig} {self.when}"


@dataclass(frozen=True, slots=True, kw_only=True)
class SignIn:
    person: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """``limits_waiting`` are the tasks whose limits nobody has confirmed yet."""

    seed: int
    centre: str
    time_zone: str
    email_domain: str
    password: str
    manager: str
    technician: str
    second_person: str
    people: tuple[PersonPlan, ...]
    cohorts: tuple[CohortPlan, ...]
    sign_ins: tuple[SignIn, ...]
    rigs: tuple[RigPlan, ...]
    walk_percent_a_week: float
    models: tuple[ModelPlan, ...]
    laboratory: str
    limits_waiting: tuple[str, ...]
    instruments: tuple[InstrumentPlan, ...]
    holds: tuple[HoldPlan, ...]
    found_out: tuple[FoundOutPlan, ...]
    prior: tuple[PriorPlan, ...]
    attempts: tuple[AttemptPlan, ...]
    judgement: Judgement
    feedback: Mapping[str, tuple[str, ...]]

    def rig(self, tag: str) -> RigPlan:
        return next(each for each in self.rigs if each.tag == tag)

    def instrument(self, tag: str) -> InstrumentPlan:
        return next(each for each in self.instruments if each.tag == tag)

    def email(self, name: str) -> str:
        return f"{name.lower()}@{self.email_domain}"


def read(path: Path) -> Scenario:
    data = json.loads(path.read_text(encoding="utf-8"))
    models = {each["name"]: _model(each) for each in data["instrument_models"]}
    return Scenario(
        seed=data["seed"],
        centre=data["centre"]["name"],
        time_zone=data["centre"]["time_zone"],
        email_domain=data["email_domain"],
        password=data["password"],
        manager=data["manager"],
        technician=data["technician"],
        second_person=data["second_person"],
        people=tuple(PersonPlan(**each | {"roles": tuple(each["roles"])}) for each in data["people"]),
        cohorts=tuple(
            CohortPlan(**each | {name: tuple(each[name]) for name in ("candidates", "tasks") if name in each})
            for each in data["cohorts"]
        ),
        sign_ins=tuple(SignIn(**each) for each in data["sign_ins"]),
        rigs=tuple(_rig(each, session_sd_percent=data["session_sd_percent"]) for each in data["rigs"]),
        walk_percent_a_week=data["walk_percent_a_week"],
        models=tuple(models.values()),
        laboratory=data["laboratory"],
        limits_waiting=tuple(data["limits_waiting"]),
        instruments=tuple(_instrument(each, models) for each in data["instruments"]),
        holds=tuple(HoldPlan(**each | {"when": _when(each["when"])}) for each in data["holds"]),
        found_out=tuple(_found_out(each) for each in data["found_out"]),
        prior=tuple(_prior(each) for each in data["prior"]),
        attempts=tuple(_attempt(each) for each in data["attempts"]),
        judgement=Judgement(**data["judgement"]),
        feedback={decision: tuple(texts) for decision, texts in data["feedback"].items()},
    )


def _when(data: Data) -> When:
    fields = dict(data)
    if "clock" in fields:
        fields["clock"] = time.fromisoformat(fields["clock"])
    return When(**fields)


def _rig(data: Data, *, session_sd_percent: float) -> RigPlan:
    fields = dict(data)
    fields["checked"] = tuple(fields["checked"])
    figures = fields.pop("figures", None)
    if figures is not None:
        running = to_si(figures["running_mbar"], unit="mbar")
        fields["model"] = VenturiRig(
            running=running,
            h_share=figures["h_share"],
            make=to_si(figures["make_mbar"], unit="mbar"),
            break_=to_si(figures["break_mbar"], unit="mbar"),
            terminals=figures.get("terminals", 2),
            repeat_sd=to_si(figures["repeat_sd_mbar"], unit="mbar"),
            session_sd=session_sd_percent / 100 * running,
            rest_sd=0.2,
        )
    if "blocking" in fields:
        fields["blocking"] = Blocking(**fields["blocking"])
    if "slowing" in fields:
        fields["slowing"] = Slowing(**fields["slowing"])
    fields["levels"] = {key: (mean, sd) for key, (mean, sd) in fields.get("levels", {}).items()}
    return RigPlan(**fields)


def _model(data: Data) -> ModelPlan:
    ranges = tuple(RangeLine(**each | {"quantity": Quantity(each["quantity"])}) for each in data["ranges"])
    return ModelPlan(name=data["name"], kind=data["kind"], ranges=ranges)


def _instrument(data: Data, models: Mapping[str, ModelPlan]) -> InstrumentPlan:
    fields = dict(data)
    fields["model"] = models[fields["model"]]
    if "certificate" in fields:
        fields["certificate"] = CertificatePlan(**fields["certificate"])
    return InstrumentPlan(**fields)


def _found_out(data: Data) -> FoundOutPlan:
    as_found = tuple((nominal, error) for nominal, error in data["as_found"])
    return FoundOutPlan(**dict(data) | {"as_found": as_found, "when": _when(data["when"])})


def _prior(data: Data) -> PriorPlan:
    return PriorPlan(**dict(data) | {"candidates": tuple(data["candidates"]), "when": _when(data["when"])})


def _attempt(data: Data) -> AttemptPlan:
    fields = dict(data)
    fields["instruments"] = tuple(fields.pop("with"))
    fields["when"] = _when(fields["when"])
    for name in ("skips", "late", "finer"):
        fields[name] = frozenset(fields.get(name, ()))
    fields["slips"] = {step: Fault(slip) for slip, steps in fields.get("slips", {}).items() for step in steps}
    fields["strikes"] = {step: Struck(**struck) for step, struck in fields.get("strikes", {}).items()}
    if "seconds_a_step" in fields:
        quickest, slowest = fields["seconds_a_step"]
        fields["seconds_a_step"] = (quickest, slowest)
    if "fault" in fields:
        fields["fault"] = Fault(fields["fault"])
    if "judgement" in fields:
        fields["judgement"] = Judgement(**fields["judgement"])
    return AttemptPlan(**fields)

"""A candidate at the bench: what is read, typed, answered and concluded, step by step."""

from dataclasses import dataclass, field

import numpy as np

from assessments.demo.scenario import AttemptPlan
from assessments.models import Step
from assessments.models.tasks import ReadingCheck, StepKind
from rigs.behaviour.simulation import OVER_LIMIT, Manometer, Multimeter, settled, simulate
from rigs.behaviour.venturi import Condition, Position, TestPoint, VenturiRig
from rigs.metrology.computed.calculator import Calculator
from rigs.metrology.computed.registry import CALCULATORS
from rigs.metrology.quantities import SI_UNIT, UNITS, Quantity
from rigs.metrology.readings import TypedReading, parse, parse_observation

USUAL_UNIT = {Quantity.PRESSURE: "mbar", Quantity.RESISTANCE: "Ω"}
GOOD_CONTACT = 1.0  # Ω, leads taken off (common practice, no source)
SAME_PRESSURE = 0.15  # mbar: taps and ports nearer than this are called the same


@dataclass(slots=True, kw_only=True)
class Hands:
    """One candidate at one rig. Keeps what a person would: the switch's position, and the sheet so far."""

    plan: AttemptPlan
    rig: VenturiRig | None
    manometer: Manometer | None
    multimeter: Multimeter | None
    rng: np.random.Generator
    position: Position = Position.AT_REST
    written: dict[str, str] = field(default_factory=dict)

    def steps(self, steps: list[Step]) -> list[Step]:
        """Those that are logged, in the order in which they are: late ones just before the end."""
        logged = [step for step in steps if step.slug not in self.plan.skips]
        late = [step for step in logged if step.slug in self.plan.late]
        in_time = [step for step in logged if step not in late]
        in_order = [*in_time[:-1], *late, in_time[-1]]
        stops = (
            [step.slug for step in in_order].index(self.plan.stops_after) + 1
            if self.plan.stops_after
            else None
        )
        return in_order[:stops]

    def read(self, step: Step) -> TypedReading:
        """What is typed on a reading step."""
        quantity = Quantity(step.quantity)
        if step.judged_by == "tone":
            text = "tone" if self._shown(TestPoint.LEADS_TOGETHER, step) != OVER_LIMIT else "no tone"
            return TypedReading(text=text, quantity=quantity, qualifier=parse_observation(text))
        is_computed = step.judged_by == ReadingCheck.COMPUTED
        text = self._worked_out(step) if is_computed else self._shown(test_point(step), step)
        self.written[step.slug] = f"{text}4" if step.slug in self.plan.finer else text
        if is_computed and quantity is Quantity.DIMENSIONLESS:
            unit = calculator_of(step).output.unit or SI_UNIT[quantity]
            return parse(self.written[step.slug], quantity=quantity, unit=unit)
        return typed(self.written[step.slug], quantity)

    def answer(self, step: Step) -> str:
        """The choice made on an observation or a conclusion; nothing on a plain action."""
        offered = {choice["value"] for choice in step.choices}
        if step.kind == StepKind.CONCLUSION and "serviceable" in offered and self.written.keys() >= RESTS_ON:
            return conclusion(self.written)
        if "lamp-follows" in offered:
            return self._lamp()
        return str(step.expected[0]) if step.expected else ""

    def reason(self, step: Step) -> str:
        """The sentence that goes with a conclusion, from the candidate's own sheet."""
        if step.kind != StepKind.CONCLUSION:
            return ""
        said = ", ".join(
            f"{words} {with_unit(self.written[slug], unit)}"
            for slug, (words, unit) in SAID.items()
            if slug in self.written
        )
        return f"{said[:1].upper()}{said[1:]}." if said else ALL_DEAD

    def _worked_out(self, step: Step) -> str:
        """The answer from the candidate's own figures, all in the unit that they were written in."""
        figures: dict[str, float | tuple[float, ...]] = {}
        for name, slugs in step.parameters["inputs"].items():
            several = tuple(float(self.written[slug]) for slug in slugs if not isinstance(slugs, str))
            figures[name] = float(self.written[slugs]) if isinstance(slugs, str) else several
        return f"{calculator_of(step).compute(figures):.3f}"

    def _shown(self, at: TestPoint, step: Step) -> str:
        using = self.multimeter if Quantity(step.quantity) is Quantity.RESISTANCE else self.manometer
        assert self.rig is not None and using is not None
        condition, fault = condition_of(step), self.plan.slips.get(step.slug, self.plan.fault)
        rig = self.rig.at_speed(speed=self.plan.speeds.get(step.slug, 1.0))
        self.position = settled(
            rig,
            condition=condition,
            rng=self.rng,
            fault=fault,
            severity=self.plan.severity,
            coming_from=self.position,
        )
        return simulate(
            rig,
            condition=condition,
            at=at,
            using=using,
            rng=self.rng,
            fault=fault,
            severity=self.plan.severity,
            coming_from=self.position,
        )

    def _lamp(self) -> str:
        """The lamp hangs on the contact: it is on wherever that is made at all."""
        rest, running = (self._lit(condition) for condition in (Condition.FAN_OFF, Condition.FAN_RUNNING))
        if rest == running:
            return "lamp-stays-on" if running else "lamp-stays-off"
        return "lamp-follows"

    def _lit(self, condition: Condition) -> bool:
        assert self.rig is not None
        shown = simulate(
            self.rig,
            condition=condition,
            at=TestPoint.CONTACTS,
            using=Multimeter(leads=0.0),
            rng=self.rng,
            fault=self.plan.fault,
            severity=self.plan.severity,
        )
        return shown != OVER_LIMIT


SAID = {
    "leads-apart": ("leads apart", "Ω"),
    "leads-together": ("leads together", "Ω"),
    "manometer-zero": ("manometer at zero", "mbar"),
    "contacts-at-rest": ("contacts at rest", "Ω"),
    "ports-running": ("Δp at the ports", "mbar"),
    "taps-running": ("at the taps", "mbar"),
    "contacts-running": ("contacts running", "Ω"),
    "contacts-blocked": ("with the outlet blocked", "Ω"),
    "mean-make": ("makes at", "mbar"),
    "mean-break": ("breaks at", "mbar"),
    "margin": ("margin", ""),
}
RESTS_ON = {"contacts-at-rest", "contacts-running", "taps-running", "ports-running"}
ALL_DEAD = "Every pair was dead, and the indicator was proved before and after."


def with_unit(text: str, unit: str) -> str:
    return text if text == OVER_LIMIT else f"{text} {unit}".rstrip()


def typed(text: str, quantity: Quantity) -> TypedReading:
    return parse(text, quantity=quantity, unit=USUAL_UNIT.get(quantity, UNITS[quantity][0]))


def calculator_of(step: Step) -> Calculator:
    return CALCULATORS[step.parameters["calculator"]]


def condition_of(step: Step) -> Condition:
    return Condition(step.condition.slug) if step.condition else Condition.ISOLATED


def test_point(step: Step) -> TestPoint:
    """Where a step is read: at its measurand's test point, by the instrument itself, or as its slug says."""
    if step.measurand is not None:
        return TestPoint(step.measurand.test_point.slug)
    match step.judged_by:
        case "leads":
            return TestPoint.LEADS_APART if "open" in step.expected else TestPoint.LEADS_TOGETHER
        case "zero":
            return TestPoint.MANOMETER_ZERO
        case _:
            named = (each for each in TestPoint if step.slug == each or step.slug.startswith(f"{each}-"))
            return next(named, TestPoint.TAPS)


def conclusion(written: dict[str, str]) -> str:
    """What a candidate concludes of the switch from the sheet, without knowing any range."""
    if written["contacts-at-rest"] != OVER_LIMIT:
        return "faulty"
    running = written["contacts-running"]
    if running != OVER_LIMIT:
        leads = float(written.get("leads-together", "0"))
        return "serviceable" if float(running) - leads <= GOOD_CONTACT else "faulty"
    taps, ports = float(written["taps-running"]), float(written["ports-running"])
    return "elsewhere" if abs(taps - ports) > SAME_PRESSURE else "faulty"

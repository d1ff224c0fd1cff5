"""The working of 'agrees': from the baseline and the instrument to the expected range and the distance."""

import math
from collections.abc import Iterable
from datetime import date

from academy.strip import number
from assessments.marking.numbers import AgreementNumbers, RigNumbers
from assessments.marking.results import ReadingMark
from assessments.working.lines import (
    Scale,
    WorkingLine,
    as_typed,
    compared,
    instrument_lines,
    line,
    with_unit,
)
from rigs.metrology.conformity import TIE, Verdict
from rigs.metrology.environment import REFERENCE_DENSITY


def agreement_lines(mark: ReadingMark, numbers: AgreementNumbers) -> Iterable[WorkingLine]:
    """Every figure in the unit that was typed; the range to the second digit of the combined uncertainty."""
    scale = Scale.to_second_digit(numbers.u, unit=mark.unit)
    yield as_typed(mark)
    yield line("The rig today", "m", scale.level(numbers.value, guard=1), _origin(numbers.rig))
    if numbers.rig is not None:
        yield from _air_lines(numbers, numbers.rig, scale)
    yield from _value_lines(numbers, scale)
    if numbers.instrument is not None:
        yield from instrument_lines(numbers.instrument, scale)
    instrument_u = scale.width(numbers.instrument_u)
    yield line("Uncertainty of the instrument", "u(i)", instrument_u, "√(a²/3 + r²/12)")
    yield from _combined_lines(numbers, scale)
    yield line("Factor, 95.45 %", "t", number(numbers.t_in, 2), "Student’s t at ν")
    yield line("Factor, 99.73 %", "t′", number(numbers.t_out, 2), "Student’s t at ν")
    yield line("Expected range", "m ± t·u", scale.span(numbers.lower, numbers.upper))
    yield from _verdict_lines(mark.verdict, numbers)


def _origin(rig: RigNumbers | None) -> str:
    if rig is None or rig.baseline is None:
        return "baseline and checks up to the start"
    begun = f", begun {written(date.fromisoformat(rig.baseline_on))}" if rig.baseline_on else ""
    return f"baseline {rig.baseline}{begun}; with the checks since, up to the start"


def written(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


def _air_lines(numbers: AgreementNumbers, rig: RigNumbers, scale: Scale) -> Iterable[WorkingLine]:
    """What the level is in reference air, and the air that it was put back to."""
    if rig.air_density is None or rig.air_u is None:
        return
    in_reference_air = numbers.value * REFERENCE_DENSITY / rig.air_density
    formula = f"m is this × ρ/ρ₀, with ρ₀ = {REFERENCE_DENSITY:g} kg/m³"
    yield line("The rig in reference air", "m₀", scale.level(in_reference_air, guard=1), formula)
    density = f"{number(rig.air_density, 4)} ± {number(rig.air_u * rig.air_density, 4)}"
    yield line("Density of the air", "ρ", with_unit(density, "kg/m³"), AIR_SOURCES[rig.air_source])


AIR_SOURCES = {
    "room": "CIPM-2007, from the room’s temperature, pressure and humidity; ± its standard uncertainty",
    "usual": "this session’s room wasn’t recorded: the mean of those that were; ± how far a room strays",
}


def _value_lines(numbers: AgreementNumbers, scale: Scale) -> Iterable[WorkingLine]:
    rig = numbers.rig
    yield line("Repeat noise", "s", scale.width(numbers.repeat_sd), "repeats of the baseline")
    if rig is not None:
        dof = number(rig.repeat_dof, 0)
        yield line("Degrees of freedom of the repeats", "ν(s)", dof, "the repeats, less one for each day")
        yield line(
            "Drift, sessions, reference instrument",
            "u(d)",
            scale.width(rig.other_u),
            "as pinned at the start"
            + ("" if rig.air_density is None else ", with what isn’t known of the air"),
        )
        yield line("Degrees of freedom of the others", "ν(d)", _dof(rig.other_dof), "as pinned at the start")
        yield line(
            "Share of the repeats",
            "k",
            number(rig.repeat_share, 3),
            "how much of s² the rig’s value carries",
        )
    made_of = "√(u(d)² + k·s²)" if rig is not None else "drift, session, reference instrument, repeats"
    yield line("Uncertainty of the rig’s value", "u(m)", scale.width(numbers.value_u), made_of)


def _combined_lines(numbers: AgreementNumbers, scale: Scale) -> Iterable[WorkingLine]:
    combined = math.hypot(numbers.repeat_sd, numbers.value_u, numbers.instrument_u)
    yield line("Combined", "u", scale.width(combined), "√(s² + u(m)² + u(i)²)")
    formula = "u⁴ ÷ (((1 + k)·s²)² ÷ ν(s) + u(d)⁴ ÷ ν(d))"
    yield line("Degrees of freedom, effective", "ν", _dof(numbers.dof), f"Welch–Satterthwaite: {formula}")
    if numbers.u > combined * (1 + TIE):
        percent = "" if numbers.rig is None else f" than {numbers.rig.floor_percent:g} % of m"
        yield line(
            "The centre’s floor",
            "u",
            scale.width(numbers.u),
            f"t·u is never less{percent}, so u is scaled up to it",
        )


def _dof(dof: float | None) -> str:
    return "∞" if dof is None else number(dof, 1)


def _verdict_lines(verdict: Verdict, numbers: AgreementNumbers) -> Iterable[WorkingLine]:
    zeta, t_in, t_out = abs(numbers.zeta), numbers.t_in, numbers.t_out
    match verdict:
        case Verdict.IN_RANGE:
            rule = compared(zeta, t_in, signs="≤", decimals=2)
        case Verdict.OUT_OF_RANGE:
            rule = compared(zeta, t_out, signs="≥", decimals=2)
        case _:
            rule = compared(t_in, zeta, t_out, signs="<<", decimals=2)
    source = "(y − m)/u: the zeta score of ISO 13528"
    yield line("Distance", "ζ", number(numbers.zeta, 2), source)
    yield line("Rule", "|ζ|", rule, "in range up to t at 95.45 %, out of range from t at 99.73 %")

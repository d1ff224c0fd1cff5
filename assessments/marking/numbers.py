"""The numbers behind a reading's verdict, one shape for each kind of check.

They are kept with the outcome, so that the verdict can be worked out again by hand years later. In SI unless
a docstring says otherwise; None for what doesn't apply or can't be had.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeAlias


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentNumbers:
    """What a reading's instrument makes of its uncertainty.

    The range is as specified: ±(`percent_reading` % of reading + `percent_full_scale` % of full scale +
    `counts` digits), with `full_scale` and `resolution` in `unit`. `half_width` is what that comes to at the
    reading, and `u` its standard uncertainty with the display's, both in SI.
    """

    tag: str
    certificate: str
    unit: str
    full_scale: float
    resolution: float
    percent_reading: float
    percent_full_scale: float
    counts: float
    half_width: float
    u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RigNumbers:
    """Where the rig's present value comes from, and what its uncertainty is made of.

    `other_u` is all but the repeats; their share is `repeat_share` times their variance. `baseline_on` is an
    ISO date, empty where it isn't known; `other_dof` None is infinitely many. `air_density` (kg/m³) is what
    the value was put back to, None where it is as read, and in older documents.
    """

    baseline: int | None
    baseline_on: str
    repeat_dof: float
    repeat_share: float
    other_u: float
    other_dof: float | None
    floor_percent: float
    air_density: float | None = None
    air_u: float | None = None
    air_source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreementNumbers:
    """Of 'agrees'. ``dof`` None means infinitely many. Older documents lack ``instrument`` and ``rig``."""

    reading: float
    value: float
    lower: float
    upper: float
    u: float
    dof: float | None
    zeta: float
    t_in: float
    t_out: float
    repeat_sd: float
    value_u: float
    instrument_u: float
    instrument: InstrumentNumbers | None = None
    rig: RigNumbers | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """What was put in for one input of a calculator, in the calculator's ``unit``, empty for a plain number.

    ``origins`` are the titles of the candidate's own readings that it comes from, none for a figure that the
    task gives. ``u`` is its standard uncertainty, ``share`` what that adds to the result's.
    """

    label: str
    unit: str
    values: tuple[float, ...]
    origins: tuple[str, ...]
    u: float | None = None
    share: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Calculation:
    """A formula with what was put into it. ``unit`` is the result's, empty for a plain number."""

    label: str
    formula: str
    source: str
    unit: str
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsNumbers:
    """Of 'conforms'. With a ``calculation``, everything is in its unit instead of SI.

    ``middle_expanded`` is the instrument's expanded uncertainty halfway between the limits, where it decides
    whether the instrument can judge at all; None with one limit.
    """

    value: float
    lower: float | None
    upper: float | None
    u: float
    factor: float
    expanded: float
    middle_expanded: float | None
    probability: float
    source: str
    dated: str
    instrument: InstrumentNumbers | None
    calculation: Calculation | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactNumbers:
    """Of 'contact' and 'leads', in Ω. ``resistance`` None is over the limit of the display, or only seen.

    ``leads`` is None for leads by themselves and where none were measured, ``net`` what is left without them.
    """

    state: str
    resistance: float | None
    leads: float | None
    net: float | None
    u: float
    leads_u: float
    factor: float
    expanded: float
    closed_limit: float
    open_limit: float
    instrument: InstrumentNumbers | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ZeroNumbers:
    """Of 'zero'. ``digits`` of ``resolution`` each are allowed."""

    value: float
    digits: float
    resolution: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """A reading that a relation is between, under its step's title and as typed, with its uncertainty."""

    title: str
    shown: str
    unit: str
    value: float
    u: float
    instrument: InstrumentNumbers | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FallNumbers:
    """Of 'falls'. ``margin`` is by how much further it fell than it had to, ``expanded`` the margin's U."""

    terms: tuple[Term, ...]
    percent: float
    factor: float
    expanded: float
    margin: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ReversalNumbers:
    """Of 'reverses'. Each reading must lie further from zero than ``factor`` times its uncertainty."""

    terms: tuple[Term, ...]
    factor: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosureNumbers:
    """Of 'closes': the terms are pH, pL and Δp. In range within ``allowed``, out of range from ``far`` on."""

    terms: tuple[Term, ...]
    computed: float
    u: float
    factor: float
    allowed: float
    far: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatsNumbers:
    """Of 'repeats'. ``factor`` and ``far_factor`` are f(n) of ISO 5725-6 at 95 % and at 99.73 %.

    In range within ``allowed``, out of range beyond ``far``; neither is less than a ``step`` of the display.
    """

    terms: tuple[Term, ...]
    repeat_sd: float
    step: float
    spread: float
    factor: float
    far_factor: float
    allowed: float
    far: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeNumbers:
    """Of 'changes': the contact on the earlier step ``title`` and the contact now."""

    title: str
    shown: str
    unit: str
    before: ContactNumbers
    after: ContactNumbers


@dataclass(frozen=True, slots=True, kw_only=True)
class ComputedNumbers:
    """Of 'computed', in the calculation's unit.

    ``allowed`` is what may lie between the answer and what follows: half its last digit, and what earlier
    rounding, the constants and the task's ``allowance`` add. ``celsius_error`` is how far off the answer is
    where it is a thermometer's resistance, whose allowance is in °C. ``slip`` is empty for none.
    """

    calculation: Calculation
    answer: float
    resolution: float
    computed: float
    allowed: float
    allowance: float
    celsius_error: float | None
    slip: str


Numbers: TypeAlias = (
    AgreementNumbers
    | LimitsNumbers
    | ContactNumbers
    | ZeroNumbers
    | FallNumbers
    | ReversalNumbers
    | ClosureNumbers
    | RepeatsNumbers
    | ChangeNumbers
    | ComputedNumbers
)

_KINDS: Final[Mapping[str, Callable[..., Numbers]]] = {
    "agrees": AgreementNumbers,
    "conforms": LimitsNumbers,
    "contact": ContactNumbers,
    "leads": ContactNumbers,
    "zero": ZeroNumbers,
    "falls": FallNumbers,
    "reverses": ReversalNumbers,
    "closes": ClosureNumbers,
    "repeats": RepeatsNumbers,
    "changes": ChangeNumbers,
    "computed": ComputedNumbers,
}


def from_document(document: Mapping[str, Any], *, judged_by: str) -> Numbers:
    """Numbers back from their stored document, which the kind of check tells the shape of."""
    return _KINDS[judged_by](**_values(document))


def _values(document: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: value if value is None or name not in _PARTS else _PARTS[name](value)
        for name, value in document.items()
    }


def _figure(document: Mapping[str, Any]) -> Figure:
    return Figure(**{**document, "values": tuple(document["values"]), "origins": tuple(document["origins"])})


_PARTS: Final[Mapping[str, Callable[[Any], Any]]] = {
    "instrument": lambda found: InstrumentNumbers(**found),
    "rig": lambda found: RigNumbers(**found),
    "terms": lambda found: tuple(Term(**_values(each)) for each in found),
    "calculation": lambda found: Calculation(**_values(found)),
    "figures": lambda found: tuple(_figure(each) for each in found),
    "before": lambda found: ContactNumbers(**_values(found)),
    "after": lambda found: ContactNumbers(**_values(found)),
}

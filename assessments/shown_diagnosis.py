"""A diagnosis laid out for a reader: what was stated and set, what the readings say, each test in its order.

Without numbers, for people kept from a rig's answers, there are the candidate's own readings and words alone:
nothing of what was set, of what was foreseen or of how likely anything is.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from assessments.marking.diagnosed import Diagnosis, TestMade
from assessments.measured import Measured, Struck, measured
from assessments.models import Reading, Step, StepRecord

NARROW_SPACE = "\N{NARROW NO-BREAK SPACE}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownTest:
    """One reading that bears on the diagnosis. Probabilities are in words, empty for none."""

    number: int
    made: TestMade
    instrument: str
    why: str
    struck_out: tuple[Struck, ...]
    expected: str
    fit: str
    of_set: str
    of_stated: str
    remaining: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownBelief:
    label: str
    probability: str
    is_set: bool
    is_stated: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownDiagnosis:
    """``found`` is for what has no numbers; ``set_label`` and ``posterior`` are empty without numbers."""

    found: Diagnosis
    reason: str
    set_label: str
    support: str
    prior: str
    posterior: tuple[ShownBelief, ...]
    tests: tuple[ShownTest, ...]
    taken_back: tuple[Measured, ...]
    with_numbers: bool


def shown_diagnosis(
    found: Diagnosis,
    *,
    steps: Iterable[Step],
    readings: Iterable[Reading],
    records: Iterable[StepRecord],
    with_numbers: bool,
) -> ShownDiagnosis:
    """``readings`` and ``records`` are all entries of the attempt, in order."""
    by_slug = {step.slug: step.pk for step in steps}
    readings = list(readings)
    lines = list(measured(each for each in readings if each.test_point_id is not None))
    notes = [each.note for each in records if each.step_id == by_slug.get(found.step) and each.done]
    return laid_out(
        found,
        reason=notes[-1] if notes else "",
        tests=_tests(found, readings, lines, with_numbers=with_numbers),
        taken_back=tuple(line for line in lines if line.reading.taken_back),
        with_numbers=with_numbers,
    )


def laid_out(
    found: Diagnosis,
    *,
    reason: str,
    tests: Iterable[ShownTest],
    taken_back: tuple[Measured, ...] = (),
    with_numbers: bool,
) -> ShownDiagnosis:
    """The same from tests that are laid out already."""
    return ShownDiagnosis(
        found=found,
        reason=reason,
        set_label=found.set_label if with_numbers else "",
        support=_percent(found.support) if with_numbers else "",
        prior=_percent(found.prior) if with_numbers else "",
        posterior=tuple(_beliefs(found)) if with_numbers else (),
        tests=tuple(tests),
        taken_back=taken_back,
        with_numbers=with_numbers,
    )


def shown_test(
    number: int,
    made: TestMade,
    *,
    instrument: str,
    why: str = "",
    struck_out: tuple[Struck, ...] = (),
    with_numbers: bool,
) -> ShownTest:
    return ShownTest(
        number=number,
        made=made,
        instrument=instrument,
        why=why,
        struck_out=struck_out,
        expected=made.expected if with_numbers else "",
        fit=_fit(made) if with_numbers else "",
        of_set=_percent(made.of_set) if with_numbers else "",
        of_stated=_percent(made.of_stated) if with_numbers else "",
        remaining=_remaining(made) if with_numbers else "",
    )


def _beliefs(found: Diagnosis) -> Iterator[ShownBelief]:
    for each in found.posterior:
        yield ShownBelief(
            label=each.label,
            probability=_percent(each.probability),
            is_set=each.fault == found.set,
            is_stated=each.fault == found.stated,
        )


def _tests(
    found: Diagnosis, readings: Iterable[Reading], lines: Iterable[Measured], *, with_numbers: bool
) -> Iterator[ShownTest]:
    by_id = {str(each.pk): each for each in readings}
    struck: Mapping[str, tuple[Struck, ...]] = {str(line.reading.pk): line.struck_out for line in lines}
    for number, made in enumerate(found.tests, start=1):
        reading = by_id[made.reading]
        yield shown_test(
            number,
            made,
            instrument=reading.instrument.instrument.tag,
            why=reading.why,
            struck_out=struck.get(made.reading, ()),
            with_numbers=with_numbers,
        )


def _fit(made: TestMade) -> str:
    """How a reading agrees with what was set."""
    if made.unused:
        return made.unused
    if made.zeta is not None:
        return f"|ζ| = {abs(made.zeta):.1f}"
    return {True: "As it should be", False: "Not as it should be", None: ""}[made.fits]


def _remaining(made: TestMade) -> str:
    return made.likeliest or (f"{made.remaining} still possible" if made.remaining else "")


def _percent(probability: float | None) -> str:
    """As a whole percentage; what isn't certain isn't shown as if it were."""
    if probability is None:
        return ""
    if probability < 0.01:
        return f"under 1{NARROW_SPACE}%"
    if probability > 0.99:
        return f"over 99{NARROW_SPACE}%"
    return f"{round(100 * probability)}{NARROW_SPACE}%"

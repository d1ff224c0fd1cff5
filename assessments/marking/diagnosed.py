"""What marking says of a diagnosis: is it right, do the readings taken support it, what was left."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any


class DiagnosisVerdict(StrEnum):
    """``ALIKE``: another than was set, but this task's tests can't tell the two apart on this rig."""

    RIGHT = "right"
    ALIKE = "alike"
    WRONG = "wrong"
    MISSING = "missing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """A fault, or nothing wrong, with its probability given the readings taken."""

    fault: str
    label: str
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TestMade:
    """One reading that bears on the diagnosis. ``of_stated`` and ``of_set`` are probabilities after it.

    ``expected`` is what it should read with the fault that was set; ``zeta`` how far off a pressure is from
    that in standard uncertainties, ``fits`` whether a state is among those. ``unused`` says why it told the
    model nothing, and then the figures before it still hold. ``remaining`` is how many things would still
    explain what was read so far; where it is one, ``likeliest`` is that.
    """

    __test__ = False  # the name is the trade's; pytest is not to collect it

    reading: str
    test: str
    shown: str
    unit: str
    expected: str = ""
    zeta: float | None = None
    fits: bool | None = None
    unused: str = ""
    of_stated: float | None = None
    of_set: float | None = None
    remaining: int = 0
    likeliest: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """A diagnosis marked: right, supported by the candidate's own readings, what to test next, how briefly.

    ``support`` is the probability, given the readings, of what was stated and all that this task's tests
    can't tell from it; ``supported`` is None where that can't be worked out, and ``why_not`` says why.
    ``alike`` are labels of what the tests can't tell from the fault that was set, its own left out.
    ``fewest`` are tests that would do to find it. ``assumed`` are the rig's figures for which common practice
    stands in. ``words`` has no number of the rig and doesn't name what was set.
    """

    step: str
    verdict: DiagnosisVerdict
    stated: str
    stated_label: str
    set: str
    set_label: str
    alike: tuple[str, ...] = ()
    supported: bool | None = None
    support: float | None = None
    prior: float | None = None
    why_not: str = ""
    posterior: tuple[Belief, ...] = ()
    remaining: tuple[str, ...] = ()
    tests: tuple[TestMade, ...] = ()
    next_test: str = ""
    next_bits: float | None = None
    used: int = 0
    fewest: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    words: str = ""

    @property
    def is_right(self) -> bool:
        return self.verdict in (DiagnosisVerdict.RIGHT, DiagnosisVerdict.ALIKE)

    @property
    def is_lucky_guess(self) -> bool:
        """Right, but not by the readings that were taken."""
        return self.is_right and self.supported is False

    @property
    def is_unlucky_reading(self) -> bool:
        """Wrong, but what the readings that were taken point to."""
        return self.verdict is DiagnosisVerdict.WRONG and self.supported is True

    @property
    def remained(self) -> str:
        return ", ".join(self.remaining)


def from_document(document: dict[str, Any]) -> Diagnosis:
    """A diagnosis back from its stored document."""
    return Diagnosis(
        **document
        | {
            "verdict": DiagnosisVerdict(document["verdict"]),
            "posterior": tuple(Belief(**each) for each in document["posterior"]),
            "tests": tuple(TestMade(**each) for each in document["tests"]),
        }
        | {name: tuple(document[name]) for name in ("alike", "remaining", "fewest", "assumed")}
    )

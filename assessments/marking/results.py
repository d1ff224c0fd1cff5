"""What marking says: each reading's verdict with the numbers behind it, three strands, a proposal."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from enum import StrEnum
from functools import cached_property
from typing import Any, overload

from assessments.marking import diagnosed, numbers
from assessments.marking.canonical import Canonical, text
from assessments.marking.diagnosed import Diagnosis
from assessments.marking.numbers import (
    ContactNumbers,
    InstrumentNumbers,
    Numbers,
    RigNumbers,
    Term,
    ZeroNumbers,
)
from rigs.metrology.conformity import Verdict


class StrandVerdict(StrEnum):
    MET = "met"
    NOT_MET = "not-met"
    TO_DECIDE = "to-decide"


class ProposedDecision(StrEnum):
    COMPETENT = "competent"
    NOT_YET_COMPETENT = "not-yet-competent"
    ASSESSOR = "assessor"


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """A verdict on what was read.

    ``sentence`` has numbers; ``words``, for people kept from ranges, has none.
    """

    step: str
    title: str
    shown: str
    unit: str
    decimals: int
    judged_by: str
    verdict: Verdict
    sentence: str
    words: str
    numbers: Numbers | None = None

    @cached_property
    def around_id(self) -> tuple[str, ...]:
        """Its document, but for the id of the reading that was judged."""
        return _write.around(self, "reading")


@dataclass(frozen=True, kw_only=True)
class ReadingMark(Judgement):
    """One reading's verdict."""

    reading: str


class Marks(Sequence[ReadingMark]):
    """An attempt's marks: the ids of its readings, and the judgement on each.

    Readings that are alike have one judgement between them. A mark is made when somebody looks at it: of
    thousands of attempts marked again, hardly one is.
    """

    __slots__ = ("judgements", "readings")

    def __init__(self, *, readings: Iterable[str], judgements: Iterable[Judgement]) -> None:
        self.readings, self.judgements = tuple(readings), tuple(judgements)

    def __len__(self) -> int:
        return len(self.readings)

    @overload
    def __getitem__(self, index: int) -> ReadingMark: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[ReadingMark, ...]: ...
    def __getitem__(self, index: int | slice) -> ReadingMark | tuple[ReadingMark, ...]:
        if isinstance(index, slice):
            return tuple(self[place] for place in range(len(self))[index])
        said = self.judgements[index]
        return ReadingMark(reading=self.readings[index], **{name: getattr(said, name) for name in _SAID})

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Marks) and (self.readings, self.judgements) == (
            other.readings,
            other.judgements,
        )

    def __hash__(self) -> int:
        return hash(self.readings)

    def __repr__(self) -> str:
        return repr(tuple(self))


_SAID = tuple(each.name for each in fields(Judgement))


class FindingKind(StrEnum):
    """``DOUBTFUL``: not as it should be, but for a reason that the assessor is to weigh."""

    MISSING = "missing"
    OUT_OF_ORDER = "out-of-order"
    UNEXPECTED = "unexpected"
    DOUBTFUL = "doubtful"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something said about one step, with its reason. A breach is of a safety-critical step."""

    step: str
    title: str
    kind: FindingKind
    breach: bool
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StrandResult:
    verdict: StrandVerdict
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Marking:
    """``chance_outside``: how likely at least one good reading of so many is outside its range by chance.

    ``diagnosis`` is there in a task of finding a fault.
    """

    engine: str
    procedure: StrandResult
    readings: StrandResult
    conclusion: StrandResult
    marks: Marks
    proposal: ProposedDecision
    chance_outside: float
    diagnosis: Diagnosis | None = None

    @property
    def lone_borderline(self) -> bool:
        """One borderline and nothing else: to be expected now and then when all is well."""
        said = [each.verdict for each in self.marks.judgements]
        verdicts = [verdict for verdict in said if verdict is not Verdict.IN_RANGE]
        others = self.procedure.verdict, self.conclusion.verdict
        return (
            verdicts == [Verdict.BORDERLINE]
            and not self.readings.findings
            and all(verdict is StrandVerdict.MET for verdict in others)
        )


def propose(strands: Sequence[StrandResult]) -> ProposedDecision:
    """No strand makes up for another: one not met is enough, one to decide leaves it to the assessor."""
    verdicts = {strand.verdict for strand in strands}
    if StrandVerdict.NOT_MET in verdicts:
        return ProposedDecision.NOT_YET_COMPETENT
    return ProposedDecision.ASSESSOR if StrandVerdict.TO_DECIDE in verdicts else ProposedDecision.COMPETENT


_write = Canonical(alike=(InstrumentNumbers, RigNumbers, ContactNumbers, ZeroNumbers, Term, StrandResult))


def _marks(marks: Marks) -> str:
    pieces = [judgement.around_id for judgement in marks.judgements]
    written = [
        f"{start}{text(reading)}{end}" for reading, (start, end) in zip(marks.readings, pieces, strict=True)
    ]
    return f"[{','.join(written)}]"


_write[Marks] = _marks


def canonical_result(marking: Marking) -> bytes:
    """RFC 8785 canonical JSON of a marking."""
    return _write(marking).encode()


def from_document(document: dict[str, Any]) -> Marking:
    """A marking back from its stored document."""
    strands = {
        name: StrandResult(
            verdict=StrandVerdict(document[name]["verdict"]),
            findings=tuple(_finding(finding) for finding in document[name]["findings"]),
        )
        for name in ("procedure", "readings", "conclusion")
    }
    return Marking(
        engine=document["engine"],
        marks=Marks(
            readings=[each["reading"] for each in document["marks"]],
            judgements=[_judgement(each) for each in document["marks"]],
        ),
        proposal=ProposedDecision(document["proposal"]),
        chance_outside=document["chance_outside"],
        diagnosis=_diagnosis(document.get("diagnosis")),
        **strands,
    )


def _diagnosis(document: dict[str, Any] | None) -> Diagnosis | None:
    return None if document is None else diagnosed.from_document(document)


def _finding(document: dict[str, Any]) -> Finding:
    return Finding(**document | {"kind": FindingKind(document["kind"])})


def _judgement(document: dict[str, Any]) -> Judgement:
    known = document["numbers"]
    changed = {
        "verdict": Verdict(document["verdict"]),
        "numbers": (None if known is None else numbers.from_document(known, judged_by=document["judged_by"])),
    }
    return Judgement(**{name: value for name, value in document.items() if name != "reading"} | changed)

"""What marking says: each reading's verdict with the numbers behind it, three strands, a proposal."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from enum import StrEnum
from functools import cached_property
from typing import Any, NamedTuple

from assessments.marking import numbers
from assessments.marking.canonical import Canonical, object_of
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
    """A verdict on what was read. ``sentence`` has numbers; ``words``, for people kept from ranges, has none."""

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


class Judged(NamedTuple):
    """A reading, by its id, and the judgement on it and on all others that are alike."""

    reading: str
    judgement: Judgement

    @property
    def mark(self) -> ReadingMark:
        return ReadingMark(
            reading=self.reading, **{name: getattr(self.judgement, name) for name in _JUDGEMENT}
        )

    def document(self) -> str:
        before, after = self.judgement.around_id
        return f"{before}{_write(self.reading)}{after}"


_JUDGEMENT = tuple(each.name for each in fields(Judgement))


class FindingKind(StrEnum):
    MISSING = "missing"
    OUT_OF_ORDER = "out-of-order"
    UNEXPECTED = "unexpected"


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


@dataclass(frozen=True, kw_only=True)
class Marking:
    """``judged`` are the readings, in the order of their steps.

    ``chance_outside``: how likely at least one good reading of so many is outside its range by chance.
    """

    engine: str
    procedure: StrandResult
    readings: StrandResult
    conclusion: StrandResult
    judged: tuple[Judged, ...]
    proposal: ProposedDecision
    chance_outside: float

    @cached_property
    def marks(self) -> tuple[ReadingMark, ...]:
        """Made when somebody asks: of many attempts marked again nobody looks at each."""
        return tuple(each.mark for each in self.judged)

    @property
    def lone_borderline(self) -> bool:
        """One borderline and nothing else: to be expected now and then when all is well."""
        verdicts = [
            verdict for each in self.judged if (verdict := each.judgement.verdict) is not Verdict.IN_RANGE
        ]
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
_write[Judged] = Judged.document


def canonical_result(marking: Marking) -> bytes:
    """RFC 8785 canonical JSON of a marking."""
    members = _write.members(marking)
    members["marks"] = members.pop("judged")
    return object_of(members).encode()


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
        judged=tuple(_judged(each) for each in document["marks"]),
        proposal=ProposedDecision(document["proposal"]),
        chance_outside=document["chance_outside"],
        **strands,
    )


def _finding(document: dict[str, Any]) -> Finding:
    return Finding(**document | {"kind": FindingKind(document["kind"])})


def _judged(document: dict[str, Any]) -> Judged:
    known = document["numbers"]
    changed = {
        "verdict": Verdict(document["verdict"]),
        "numbers": (None if known is None else numbers.from_document(known, judged_by=document["judged_by"])),
    }
    said = {name: value for name, value in document.items() if name != "reading"}
    return Judged(document["reading"], Judgement(**said | changed))

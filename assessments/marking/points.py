"""What a marking leaves to the assessor, point by point."""

from collections.abc import Iterator
from dataclasses import dataclass

from assessments.marking.results import Marking, StrandVerdict
from rigs.metrology.conformity import Verdict

STRANDS = ("procedure", "readings", "conclusion")


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One thing to decide: a reading, by its id, or a step that something was found on.

    ``sentence`` says why the marking can't tell; it may have numbers in it.
    """

    strand: str
    step: str
    reading: str
    title: str
    sentence: str

    @property
    def key(self) -> str:
        """The same for the same point of an attempt, in whichever marking."""
        return f"{self.strand}-{self.reading or self.step}"


def left_to_assessor(marking: Marking) -> tuple[Point, ...]:
    """Every point of the strands that are to decide. A strand that isn't met has none: it is decided."""
    return tuple(
        point
        for strand in STRANDS
        if getattr(marking, strand).verdict is StrandVerdict.TO_DECIDE
        for point in _points(strand, marking)
    )


def _points(strand: str, marking: Marking) -> Iterator[Point]:
    if strand == "readings":
        for mark in marking.marks:
            if mark.verdict is not Verdict.IN_RANGE:
                yield Point(
                    strand=strand,
                    step=mark.step,
                    reading=mark.reading,
                    title=mark.title,
                    sentence=mark.sentence,
                )
    for finding in getattr(marking, strand).findings:
        yield Point(
            strand=strand, step=finding.step, reading="", title=finding.title, sentence=finding.sentence
        )

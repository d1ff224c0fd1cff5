"""A cohort's matrix and its first-time shares as rows for a file."""

from collections.abc import Iterable, Iterator, Sequence

from academy.transfer.tables import Value
from assessments.cohort_progress import Board, Cell
from assessments.cohort_rates import TaskRate

Rows = Iterator[Sequence[Value]]

RATES = (
    "task",
    "first_attempts",
    "competent_first_time",
    "share_percent",
    "share_lower_percent",
    "share_upper_percent",
    "resits",
    "void",
)


def matrix(board: Board) -> tuple[tuple[str, ...], Rows]:
    """A row for each candidate, and for each task its state and how many attempts count."""
    of_tasks = [name for task in board.tasks for name in (task.title, f"{task.title}: attempts")]
    return ("candidate", "cohort", *of_tasks, "left", "minutes_left", "stuck"), _matrix(board)


def _matrix(board: Board) -> Rows:
    for row in board.rows:
        yield (
            row.candidate.name,
            row.cohort.name,
            *(value for cell in row.cells for value in _cell(cell)),
            row.left,
            row.minutes,
            "; ".join(reason.words for reason in row.stuck),
        )


def _cell(cell: Cell) -> tuple[Value, Value]:
    return (str(cell.standing), cell.attempts) if cell.is_planned else ("", "")


def rates(found: Iterable[TaskRate]) -> tuple[tuple[str, ...], Rows]:
    return RATES, _rates(found)


def _rates(found: Iterable[TaskRate]) -> Rows:
    for each in found:
        share = each.share
        ends: list[Value] = ["", "", ""]
        if share:
            ends = [round(100 * end, 1) for end in (share.value, share.lower, share.upper)]
        yield (
            each.task.title,
            share.n if share else 0,
            each.first_time,
            *ends,
            each.resits,
            each.void,
        )

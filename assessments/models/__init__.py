"""What candidates did, and what it shows.

Evidence is only ever added to: a correction is a new row that supersedes the old one and says why, an
outcome is never updated, and a decision is replaced by a later one that names it.
"""

from assessments.models.attempts import Attempt, AttemptInstrument, Photo, Reading, StepRecord
from assessments.models.decisions import Outcome, SignOff
from assessments.models.people import CohortTask, PortfolioDocument, PriorAchievement, RangeSeen
from assessments.models.tasks import Criterion, Step, Task, TaskContent, TaskVersion

__all__ = [
    "Attempt",
    "AttemptInstrument",
    "CohortTask",
    "Criterion",
    "Outcome",
    "Photo",
    "PortfolioDocument",
    "PriorAchievement",
    "RangeSeen",
    "Reading",
    "SignOff",
    "Step",
    "StepRecord",
    "Task",
    "TaskContent",
    "TaskVersion",
]

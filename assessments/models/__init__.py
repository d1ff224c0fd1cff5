"""What candidates did, and what it shows.

Evidence is only ever added to: a correction is a new row that supersedes the old one and says why, an
outcome is never updated, and a decision is replaced by a later one that names it.
"""

from assessments.models.attempts import Attempt, AttemptInstrument, Photo, Reading, StepRecord
from assessments.models.decisions import Outcome, SignOff
from assessments.models.drafts import TaskDraft
from assessments.models.impact import ImpactItem, ImpactReview, ModelOutcome
from assessments.models.limits import LimitConfirmation
from assessments.models.people import CohortTask, PortfolioDocument, PriorAchievement, RangeSeen
from assessments.models.suspensions import Suspension
from assessments.models.tasks import Criterion, Step, Task, TaskContent, TaskVersion
from assessments.models.verification import (
    SampledDecision,
    SamplingPlan,
    Verification,
    VerifierAction,
)
from assessments.models.virtual import VirtualEntry, VirtualPractice

__all__ = [
    "Attempt",
    "AttemptInstrument",
    "CohortTask",
    "Criterion",
    "ImpactItem",
    "ImpactReview",
    "LimitConfirmation",
    "ModelOutcome",
    "Outcome",
    "Photo",
    "PortfolioDocument",
    "PriorAchievement",
    "RangeSeen",
    "Reading",
    "SampledDecision",
    "SamplingPlan",
    "SignOff",
    "Step",
    "StepRecord",
    "Suspension",
    "Task",
    "TaskContent",
    "TaskDraft",
    "TaskVersion",
    "Verification",
    "VerifierAction",
    "VirtualEntry",
    "VirtualPractice",
]

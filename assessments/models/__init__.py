"""What candidates did, and what it shows.

Evidence is only ever added to: a correction is a new row that supersedes the old one and says why, an
outcome is never updated, and a decision is replaced by a later one that names it.
"""

from assessments.models.appeals import Appeal
from assessments.models.attempts import Attempt, AttemptInstrument, Photo, Reading, StepRecord
from assessments.models.decisions import Outcome, SignOff
from assessments.models.documents import PortfolioDocument, PortfolioEntry
from assessments.models.drafts import TaskDraft
from assessments.models.exercises import (
    Exercise,
    ExerciseDecision,
    ExerciseItem,
    ExerciseParticipant,
    Ruling,
)
from assessments.models.impact import ImpactItem, ImpactReview, ModelOutcome
from assessments.models.limits import LimitConfirmation
from assessments.models.observations import Observation, OralAnswer, QuestionSet
from assessments.models.people import CohortTask, PriorAchievement, RangeSeen
from assessments.models.prompts import Prompt
from assessments.models.resits import Adjustment, ResitLeave, ResitRule
from assessments.models.returns import AttemptReturn, AttemptVoid
from assessments.models.reviewing import Judgement, Look, Phrase
from assessments.models.rights import AssessorScope, ConflictOfInterest, Countersignature
from assessments.models.running import HelpCall, SessionStop
from assessments.models.sessions import PlanChange, PlanMember, PlannedSlot, PlanRig, SessionPlan
from assessments.models.suspensions import Suspension
from assessments.models.tasks import Criterion, Step, Task, TaskContent, TaskVersion
from assessments.models.tickets import Arrival, Ticket, TicketInstrument
from assessments.models.verification import (
    SampledDecision,
    SamplingPlan,
    Verification,
    VerifierAction,
)
from assessments.models.virtual import VirtualEntry, VirtualPractice
from assessments.models.visits import Pack, Visit, VisitLook, VisitSample

__all__ = [
    "Adjustment",
    "Appeal",
    "Arrival",
    "AssessorScope",
    "Attempt",
    "AttemptInstrument",
    "AttemptReturn",
    "AttemptVoid",
    "CohortTask",
    "ConflictOfInterest",
    "Countersignature",
    "Criterion",
    "Exercise",
    "ExerciseDecision",
    "ExerciseItem",
    "ExerciseParticipant",
    "HelpCall",
    "ImpactItem",
    "ImpactReview",
    "Judgement",
    "LimitConfirmation",
    "Look",
    "ModelOutcome",
    "Observation",
    "OralAnswer",
    "Outcome",
    "Pack",
    "Photo",
    "Phrase",
    "PlanChange",
    "PlanMember",
    "PlanRig",
    "PlannedSlot",
    "PortfolioDocument",
    "PortfolioEntry",
    "PriorAchievement",
    "Prompt",
    "QuestionSet",
    "RangeSeen",
    "Reading",
    "ResitLeave",
    "ResitRule",
    "Ruling",
    "SampledDecision",
    "SamplingPlan",
    "SessionPlan",
    "SessionStop",
    "SignOff",
    "Step",
    "StepRecord",
    "Suspension",
    "Task",
    "TaskContent",
    "TaskDraft",
    "TaskVersion",
    "Ticket",
    "TicketInstrument",
    "Verification",
    "VerifierAction",
    "VirtualEntry",
    "VirtualPractice",
    "Visit",
    "VisitLook",
    "VisitSample",
]

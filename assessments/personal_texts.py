"""Every text of attempts and decisions: the words that go with a person, and what stays, with why."""

from academy.personal import Texts

CANDIDATE = "attempt__candidate"
DECIDED = "sign_off__attempt__candidate"


def _of_attempt(model: str, *fields: str, way: str = "", salt: str = "salt") -> Texts:
    """Words about an attempt's candidate, or their own; ``way`` leads to the row that has the attempt."""
    about = f"{way}__{CANDIDATE}" if way else CANDIDATE
    return Texts(
        model=f"assessments.{model}", fields=fields, centre=f"{about}__centre", about=(about,), salt=salt
    )


def _of_candidate(model: str, *fields: str, salt: str = "salt") -> Texts:
    return Texts(
        model=f"assessments.{model}",
        fields=fields,
        centre="candidate__centre",
        about=("candidate",),
        salt=salt,
    )


TEXTS = (
    _of_attempt("StepRecord", "note", "reason", salt="attempt__salt"),
    _of_attempt("Reading", "why", "reason", salt="attempt__salt"),
    _of_attempt("Photo", "reason", salt="attempt__salt"),
    _of_attempt("Observation", "note", "reason"),
    _of_attempt("OralAnswer", "answer", "reason"),
    _of_attempt("Prompt", "words"),
    _of_attempt("AttemptReturn", "words"),
    _of_attempt("AttemptVoid", "reason", "words"),
    _of_attempt("SignOff", "feedback", "reason"),
    _of_attempt("Judgement", "reason", way="sign_off", salt="sign_off__salt"),
    _of_attempt("Countersignature", "note", way="sign_off"),
    _of_attempt("Appeal", "grounds", "reason", way="sign_off"),
    _of_attempt("ImpactItem", "reason", salt="review__salt"),
    _of_attempt("ExerciseDecision", "reason", way="item"),
    _of_attempt("Verification", "own_note", "note", way="sampled__sign_off"),
    _of_attempt(
        "VerifierAction",
        "text",
        "closure",
        way="verification__sampled__sign_off",
        salt="verification__salt",
    ),
    _of_candidate("Adjustment", "what"),
    _of_candidate("ResitLeave", "reason"),
    _of_candidate("PriorAchievement", "evidence", salt=""),
    Texts(
        model="assessments.ConflictOfInterest",
        fields=("words",),
        centre="candidate__centre",
        about=("candidate", "person"),
        salt="salt",
    ),
    Texts(
        model="assessments.VirtualEntry",
        fields=("note",),
        centre="practice__candidate__centre",
        about=("practice__candidate",),
    ),
    Texts(
        model="assessments.ImpactReview",
        fields=("finding", "evidence", "event", "closure"),
        centre="centre",
        salt="salt",
    ),
    Texts(model="assessments.Ruling", fields=("text",), centre="item__exercise__centre", salt="salt"),
    Texts(model="assessments.Exercise", fields=("title",), centre="centre"),
    Texts(model="assessments.SessionStop", fields=("reason", "words"), centre="centre", salt="salt"),
    Texts(model="assessments.PlanChange", fields=("reason",), centre="plan__centre", salt="salt"),
    Texts(model="assessments.Visit", fields=("reason",), centre="centre", about=("visitor",), salt="salt"),
    Texts(model="assessments.TaskVersion", fields=("withdrawn_because",), centre="task__centre"),
)

KEPT = {
    "frozen inputs and results of marking: figures, choices and ids, never words": (
        "Outcome.engine",
        "Outcome.inputs",
        "Outcome.inputs_sha256",
        "Outcome.result",
        "ModelOutcome.changes",
        "ModelOutcome.inputs_sha256",
        "ImpactItem.through",
        "ImpactItem.unknown",
        "ImpactReview.points",
        "SampledDecision.covers",
        "SampledDecision.risks",
        "SamplingPlan.settings",
        "SamplingPlan.stated",
        "VirtualPractice.drawn",
    ),
    "figures as typed, choices and kinds": (
        "AttemptInstrument.kind",
        "AttemptVoid.was",
        "Arrival.kind",
        "OralAnswer.key",
        "Reading.qualifier",
        "Reading.text",
        "Reading.unit",
        "StepRecord.answer",
        "TicketInstrument.kind",
        "VirtualEntry.answer",
        "VirtualEntry.qualifier",
        "VirtualEntry.shown",
        "VirtualEntry.text",
        "VirtualEntry.unit",
    ),
    "digests and salts": (
        "Appeal.evidence",
        "Appeal.evidence_sha256",
        "Arrival.digest",
        "Pack.ledger_head",
        "Pack.manifest_sha256",
        "Pack.sha256",
        "Photo.pixels_sha256",
        "Photo.received_sha256",
        "Photo.sha256",
        "PortfolioDocument.certificate_sha256",
        "PortfolioDocument.ledger_head",
        "PortfolioDocument.sha256",
        "PortfolioDocument.unsigned_sha256",
    ),
    "files, deleted with the person; their digests stay": (
        "Pack.file",
        "Photo.file",
        "PortfolioDocument.file",
    ),
    "deleted with the assessor who kept it, or whom it names": ("Phrase.text",),
    "what tasks say": (
        "Criterion.code",
        "Criterion.text",
        "Criterion.unit",
        "LimitConfirmation.digest",
        "LimitConfirmation.text",
        "QuestionSet.content",
        "QuestionSet.content_sha256",
        "Step.choices",
        "Step.expected",
        "Step.instruction",
        "Step.instrument_kind",
        "Step.parameters",
        "Step.quantity",
        "Step.slug",
        "Step.title",
        "Step.why",
        "Task.slug",
        "Task.title",
        "TaskContent.source",
        "TaskContent.text",
        "TaskDraft.data",
        "TaskDraft.slug",
        "TaskDraft.title",
        "TaskVersion.cautions",
        "TaskVersion.content_sha256",
        "TaskVersion.purpose",
    ),
}

"""A centre, its people and its ledger, and what is kept about them."""

from academy.models.centres import Centre
from academy.models.dated import DatedQuerySet
from academy.models.jobs import Job, JobState
from academy.models.ledger import AppendOnlyError, LedgerEntry, LedgerEntryQuerySet
from academy.models.links import AccessLink, AccessLinkQuerySet
from academy.models.people import (
    Cohort,
    CohortQuerySet,
    Digest,
    Membership,
    MembershipQuerySet,
    Person,
    PersonManager,
    PersonQuerySet,
    Role,
    RoleQuerySet,
    normal_email,
)
from academy.models.retention import Disposal, RecordHold, RecordHoldQuerySet, RetentionPeriod

__all__ = [
    "AccessLink",
    "AccessLinkQuerySet",
    "AppendOnlyError",
    "Centre",
    "Cohort",
    "CohortQuerySet",
    "DatedQuerySet",
    "Digest",
    "Disposal",
    "Job",
    "JobState",
    "LedgerEntry",
    "LedgerEntryQuerySet",
    "Membership",
    "MembershipQuerySet",
    "Person",
    "PersonManager",
    "PersonQuerySet",
    "RecordHold",
    "RecordHoldQuerySet",
    "RetentionPeriod",
    "Role",
    "RoleQuerySet",
    "normal_email",
]

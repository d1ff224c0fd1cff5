"""What a role may do at all. Whether it may be done to *this* one is for the verb modules to say."""

from collections.abc import Mapping
from datetime import date
from enum import StrEnum
from types import MappingProxyType

from django.contrib.auth.models import AnonymousUser

from academy.models import Person, Role


class Permission(StrEnum):
    """Named noun.verb, but for the two that everyone, or everyone signed in, has."""

    PUBLIC = "public"
    SIGNED_IN = "signed-in"

    ATTEMPT_WORK = "attempt.work"
    ATTEMPT_READ = "attempt.read"
    ATTEMPT_DECIDE = "attempt.decide"
    ATTEMPT_TRANSCRIBE = "attempt.transcribe"
    PORTFOLIO_READ = "portfolio.read"

    SESSION_READ = "session.read"
    SESSION_PLAN = "session.plan"
    SESSION_STOP = "session.stop"

    PRIOR_RECORD = "prior.record"

    APPEAL_READ = "appeal.read"
    APPEAL_DECIDE = "appeal.decide"
    RESIT_ALLOW = "resit.allow"
    ADJUSTMENT_AGREE = "adjustment.agree"
    CONFLICT_DECLARE = "conflict.declare"
    SCOPE_MANAGE = "scope.manage"

    RIG_READ = "rig.read"
    RIG_MANAGE = "rig.manage"
    RIG_CHECK = "rig.check"
    BASELINE_RECORD = "baseline.record"
    BASELINE_APPROVE = "baseline.approve"
    FAULT_SET = "fault.set"
    HOLD_PLACE = "hold.place"
    INSTRUMENT_READ = "instrument.read"
    INSTRUMENT_MANAGE = "instrument.manage"

    VERIFICATION_READ = "verification.read"
    VERIFICATION_DO = "verification.do"
    EXERCISE_READ = "exercise.read"
    RATES_READ = "rates.read"
    VISIT_READ = "visit.read"
    VISIT_MANAGE = "visit.manage"

    IMPACT_READ = "impact.read"
    IMPACT_OPEN = "impact.open"
    IMPACT_RESOLVE = "impact.resolve"
    IMPACT_CLOSE = "impact.close"

    TASK_READ = "task.read"
    TASK_MANAGE = "task.manage"

    COHORT_READ = "cohort.read"
    COHORT_MANAGE = "cohort.manage"
    PEOPLE_MANAGE = "people.manage"
    LEDGER_READ = "ledger.read"
    CENTRE_MANAGE = "centre.manage"


_BENCH = frozenset({Permission.RIG_READ, Permission.INSTRUMENT_READ, Permission.IMPACT_READ})
_RECORDS = frozenset({Permission.ATTEMPT_READ, Permission.PORTFOLIO_READ})

ROLE_PERMISSIONS: Mapping[Role.Kind, frozenset[Permission]] = MappingProxyType(
    {
        Role.Kind.CANDIDATE: frozenset({Permission.ATTEMPT_WORK, Permission.PORTFOLIO_READ}),
        Role.Kind.ASSESSOR: _BENCH
        | _RECORDS
        | {
            Permission.SESSION_READ,
            Permission.SESSION_PLAN,
            Permission.SESSION_STOP,
            Permission.ATTEMPT_DECIDE,
            Permission.EXERCISE_READ,
            Permission.ATTEMPT_TRANSCRIBE,
            Permission.PRIOR_RECORD,
            Permission.APPEAL_READ,
            Permission.RESIT_ALLOW,
            Permission.ADJUSTMENT_AGREE,
            Permission.CONFLICT_DECLARE,
            Permission.RIG_CHECK,
            Permission.BASELINE_APPROVE,
            Permission.FAULT_SET,
            Permission.HOLD_PLACE,
            Permission.IMPACT_RESOLVE,
            Permission.TASK_READ,
            Permission.COHORT_READ,
        },
        Role.Kind.VERIFIER: _BENCH
        | _RECORDS
        | {
            Permission.SESSION_READ,
            Permission.APPEAL_READ,
            Permission.APPEAL_DECIDE,
            Permission.CONFLICT_DECLARE,
            Permission.BASELINE_APPROVE,
            Permission.VERIFICATION_READ,
            Permission.VERIFICATION_DO,
            Permission.EXERCISE_READ,
            Permission.RATES_READ,
            Permission.VISIT_READ,
            Permission.VISIT_MANAGE,
            Permission.IMPACT_CLOSE,
            Permission.TASK_READ,
            Permission.COHORT_READ,
            Permission.LEDGER_READ,
        },
        # What belongs to a visit's sample, on pages of its own: nothing of the centre besides.
        Role.Kind.EXTERNAL_VERIFIER: frozenset({Permission.VISIT_READ}),
        Role.Kind.TECHNICIAN: _BENCH
        | {
            Permission.SESSION_READ,
            Permission.SESSION_STOP,
            Permission.ATTEMPT_TRANSCRIBE,
            Permission.RIG_MANAGE,
            Permission.RIG_CHECK,
            Permission.BASELINE_RECORD,
            Permission.HOLD_PLACE,
            Permission.INSTRUMENT_MANAGE,
            Permission.IMPACT_OPEN,
        },
        Role.Kind.MANAGER: _BENCH
        | _RECORDS
        | {
            Permission.SESSION_READ,
            Permission.SESSION_PLAN,
            Permission.SESSION_STOP,
            Permission.PRIOR_RECORD,
            Permission.APPEAL_READ,
            Permission.APPEAL_DECIDE,
            Permission.RESIT_ALLOW,
            Permission.ADJUSTMENT_AGREE,
            Permission.CONFLICT_DECLARE,
            Permission.SCOPE_MANAGE,
            Permission.RIG_MANAGE,
            Permission.RIG_CHECK,
            Permission.BASELINE_RECORD,
            Permission.BASELINE_APPROVE,
            Permission.HOLD_PLACE,
            Permission.INSTRUMENT_MANAGE,
            Permission.IMPACT_OPEN,
            Permission.IMPACT_CLOSE,
            Permission.TASK_READ,
            Permission.TASK_MANAGE,
            Permission.VERIFICATION_READ,
            Permission.EXERCISE_READ,
            Permission.RATES_READ,
            Permission.VISIT_READ,
            Permission.VISIT_MANAGE,
            Permission.COHORT_READ,
            Permission.COHORT_MANAGE,
            Permission.PEOPLE_MANAGE,
            Permission.LEDGER_READ,
            Permission.CENTRE_MANAGE,
        },
    }
)


def permissions_of(person: Person | AnonymousUser, *, on: date) -> frozenset[Permission]:
    """Return what the roles in force on that day allow the person. One query; none for a stranger."""
    if not isinstance(person, Person) or not person.is_active:
        return frozenset({Permission.PUBLIC})
    kinds = Role.objects.in_force(on=on).filter(person=person).values_list("kind", flat=True)
    return frozenset({Permission.PUBLIC, Permission.SIGNED_IN}).union(
        *(ROLE_PERMISSIONS[Role.Kind(kind)] for kind in kinds)
    )

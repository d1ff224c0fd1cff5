from datetime import timedelta

import pytest

from academy import people
from academy.refusals import Refused
from assessments import (
    conflicts,
    countersigning,
    progress,
    rights,
    scopes,
    signoff,
    verification,
    voids,
)
from assessments.coverage import decided_attempts
from assessments.models import Attempt, SignOff
from assessments.models.attempts import AttemptStatus
from assessments.models.decisions import Decision
from assessments.models.returns import VoidCause
from assessments.rights import Standing
from tests.factories import assessments as made
from tests.factories import rights as beside
from tests.factories.academy import DAY, AssessorFactory, VerifierFactory
from tests.factories.assessments import SWITCH_TEST
from tests.factories.rights import MINUTE

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench():
    return made.ready_bench()


@pytest.fixture
def attempt(bench):
    return made.handed_in(bench)


def task(bench, slug=SWITCH_TEST):
    return bench.tasks[slug].task


class TestScope:
    def test_of_whom_nothing_is_recorded_may_decide_on_everything(self, bench):
        assert rights.standing(person=bench.assessor, task=task(bench), on=DAY) == Standing.QUALIFIED

    def test_what_is_recorded_binds(self, bench, attempt):
        beside.scope(bench, bench.assessor, tasks=[task(bench, "safe-isolation")])
        with pytest.raises(Refused, match="outside what you may assess"):
            beside.decided(attempt, by=bench.assessor)

    def test_somebody_elses_scope_binds_nobody_else(self, bench, attempt):
        beside.scope(bench, AssessorFactory(by=bench.manager), tasks=[task(bench, "safe-isolation")])
        assert beside.decided(attempt, by=bench.assessor).decision == Decision.COMPETENT

    def test_one_that_has_run_out_still_binds(self, bench):
        scope = beside.scope(bench, bench.assessor)
        scopes.end(scope=scope, on=DAY, by=bench.manager, at=bench.at)
        tomorrow = DAY + timedelta(days=1)
        assert rights.standing(person=bench.assessor, task=task(bench), on=DAY) == Standing.QUALIFIED
        assert rights.standing(person=bench.assessor, task=task(bench), on=tomorrow) == Standing.OUTSIDE

    def test_a_full_scope_counts_before_one_in_training(self, bench):
        beside.scope(bench, bench.assessor, in_training=True)
        beside.scope(bench, bench.assessor, tasks=[task(bench)])
        assert rights.standing(person=bench.assessor, task=task(bench), on=DAY) == Standing.QUALIFIED
        other = task(bench, "safe-isolation")
        assert rights.standing(person=bench.assessor, task=other, on=DAY) == Standing.IN_TRAINING

    def test_nobody_records_their_own(self, bench):
        with pytest.raises(Refused, match="Somebody else records"):
            beside.scope(bench, bench.manager)

    def test_only_a_manager_records_one(self, bench):
        with pytest.raises(Refused, match="Only a manager"):
            scopes.record(
                assessor=AssessorFactory(by=bench.manager),
                tasks=None,
                in_training=False,
                starts_on=DAY,
                ends_on=None,
                by=bench.assessor,
                at=bench.at,
            )

    def test_no_task_at_all_is_no_scope(self, bench):
        with pytest.raises(Refused, match="Choose the tasks"):
            beside.scope(bench, bench.assessor, tasks=[])

    def test_the_queue_leaves_out_what_isnt_theirs(self, bench, attempt):
        waiting = Attempt.objects.awaiting(bench.assessor)
        assert list(rights.decidable(waiting, person=bench.assessor, on=DAY)) == [attempt]
        beside.scope(bench, bench.assessor, tasks=[task(bench, "safe-isolation")])
        assert not rights.decidable(waiting, person=bench.assessor, on=DAY)


class TestCountersigning:
    @pytest.fixture
    def trainee(self, bench):
        return beside.assessor_in_training(bench)

    @pytest.fixture
    def provisional(self, attempt, trainee):
        return beside.decided(attempt, by=trainee)

    def test_a_decision_in_training_counts_nowhere(self, bench, attempt, provisional):
        attempt.refresh_from_db()
        assert attempt.status == AttemptStatus.COUNTERSIGN
        assert signoff.current(attempt) is None
        assert signoff.provisional(attempt) == provisional
        assert (bench.candidate.pk, attempt.version.task_id) not in progress.achieved([bench.candidate])
        standings = progress.standings_of([bench.candidate], [attempt.version.task])
        assert standings[bench.candidate.pk, attempt.version.task_id] == (progress.Standing.SUBMITTED, 1)
        assert not decided_attempts(Attempt.objects.all(), candidate=bench.candidate)

    def test_it_stands_once_a_qualified_assessor_agrees(self, bench, attempt, provisional):
        at = provisional.at + MINUTE
        countersigning.agree(
            signed=provisional, by=bench.assessor, note="Clear feedback.", confirmed_at=at, at=at
        )
        attempt.refresh_from_db()
        assert attempt.status == AttemptStatus.SIGNED_OFF
        assert signoff.current(attempt) == provisional
        assert attempt.version.task_id in progress.achieved_tasks(bench.candidate)

    def test_deciding_otherwise_takes_its_place_and_keeps_it_readable(self, bench, attempt, provisional):
        later = countersigning.decide_otherwise(
            signed=provisional,
            decision=Decision.NOT_YET_COMPETENT,
            feedback="Prove dead before you touch a conductor.",
            reason="The candidate put the leads on before the proving.",
            by=bench.assessor,
            confirmed_at=provisional.at + MINUTE,
            at=provisional.at + MINUTE,
        )
        assert signoff.current(attempt) == later
        assert signoff.history(attempt) == [later, provisional]
        assert later.assessor == bench.assessor

    def test_deciding_otherwise_says_why(self, bench, provisional):
        with pytest.raises(Refused, match="Say why it is decided otherwise"):
            countersigning.decide_otherwise(
                signed=provisional,
                decision=Decision.NOT_YET_COMPETENT,
                feedback="Again.",
                reason=" ",
                by=bench.assessor,
                confirmed_at=provisional.at + MINUTE,
                at=provisional.at + MINUTE,
            )

    def test_nobody_countersigns_their_own(self, trainee, provisional):
        with pytest.raises(Refused, match="Nobody countersigns a decision of their own"):
            beside.countersigned(provisional, by=trainee)

    def test_another_in_training_does_not_countersign(self, bench, provisional):
        other = beside.assessor_in_training(bench)
        with pytest.raises(Refused, match="in training for this task yourself"):
            beside.countersigned(provisional, by=other)

    def test_nor_somebody_whose_scope_is_another(self, bench, provisional):
        beside.scope(bench, bench.assessor, tasks=[task(bench, "safe-isolation")])
        with pytest.raises(Refused, match="outside what you may assess"):
            beside.countersigned(provisional, by=bench.assessor)

    def test_nor_the_candidate_nor_somebody_with_a_conflict(self, bench, provisional):
        beside.conflict(bench, bench.assessor, bench.candidate)
        with pytest.raises(Refused, match="conflict of interest"):
            beside.countersigned(provisional, by=bench.assessor)

    def test_twice_says_who_did(self, bench, provisional):
        at = provisional.at + MINUTE
        countersigning.agree(signed=provisional, by=bench.assessor, note="", confirmed_at=at, at=at)
        with pytest.raises(Refused, match="signed this attempt off already"):
            countersigning.agree(signed=provisional, by=bench.assessor, note="", confirmed_at=at, at=at)

    def test_practice_needs_none(self, bench, trainee):
        practice = made.handed_in(bench, purpose="practice")
        assert not beside.decided(practice, by=trainee).is_provisional

    def test_each_sees_what_they_may_countersign(self, bench, trainee, provisional):
        at = provisional.at + MINUTE
        assert list(countersigning.waiting(person=bench.assessor, at=at)) == [provisional]
        assert not countersigning.waiting(person=trainee, at=at)
        assert not countersigning.waiting(person=beside.assessor_in_training(bench), at=at)

    def test_it_may_become_void_instead(self, bench, attempt, provisional):
        voids.make_void(
            attempt=attempt,
            cause=VoidCause.RIG,
            reason="Hose split.",
            words="The rig was at fault.",
            by=bench.assessor,
            at=provisional.at + MINUTE,
        )
        assert signoff.current(attempt) is None
        assert SignOff.objects.filter(pk=provisional.pk).exists()

    def test_a_countersigner_never_verifies_it(self, bench, provisional):
        both = VerifierFactory(by=bench.manager, kinds=("assessor", "verifier"))
        at = provisional.at + MINUTE
        countersigning.agree(signed=provisional, by=both, note="", confirmed_at=at, at=at)
        assert not verification.may_verify(sign_off=provisional, person=both, on=DAY)
        sampled = sample(bench, by=both, at=at + MINUTE)
        assert not verification.to_verify(person=both, on=DAY)
        with pytest.raises(Refused, match="nor one that they countersigned"):
            decide_blind(sampled, by=both, at=at + MINUTE)

    def test_a_verifier_never_countersigns_what_they_verified(self, bench, attempt, provisional):
        """Not on the straight way: the decision that was verified was superseded, on appeal say."""
        both = VerifierFactory(by=bench.manager, kinds=("assessor", "verifier"))
        at = provisional.at + MINUTE
        countersigning.agree(signed=provisional, by=bench.assessor, note="", confirmed_at=at, at=at)
        sampled = sample(bench, by=both, at=at)
        decide_blind(sampled, by=both, at=at)
        Attempt.objects.filter(pk=attempt.pk).update(status=AttemptStatus.COUNTERSIGN)
        with pytest.raises(Refused, match="You verified a decision on this attempt"):
            countersigning.agree(
                signed=provisional, by=both, note="", confirmed_at=at + MINUTE, at=at + MINUTE
            )

    def test_a_provisional_decision_is_not_sampled(self, bench, provisional):
        verifier = VerifierFactory(by=bench.manager)
        with pytest.raises(Refused):
            sample(bench, by=verifier, at=provisional.at + MINUTE)


def sample(bench, *, by, at):
    plan = verification.draw_plan(
        centre=bench.centre,
        starts_on=DAY,
        ends_on=DAY,
        seed=1,
        wrong_percent=10,
        chance_percent=80,
        by=by,
        at=at,
    )
    return plan.sampled.select_related("plan__centre", "sign_off__attempt").get()


def decide_blind(sampled, *, by, at):
    return verification.decide_blind(
        sampled=sampled, verifier=by, decision=Decision.COMPETENT, note="As logged.", at=at
    )


class TestConflictOfInterest:
    def test_it_keeps_an_assessor_from_deciding(self, bench, attempt):
        beside.conflict(bench, bench.assessor, bench.candidate)
        with pytest.raises(Refused, match="conflict of interest"):
            beside.decided(attempt, by=bench.assessor)
        waiting = Attempt.objects.awaiting(bench.assessor)
        assert not rights.decidable(waiting, person=bench.assessor, on=DAY)

    def test_from_verifying(self, bench, attempt):
        verifier = VerifierFactory(by=bench.manager)
        signed = beside.decided(attempt, by=bench.assessor)
        beside.conflict(bench, verifier, bench.candidate)
        sampled = sample(bench, by=verifier, at=signed.at)
        with pytest.raises(Refused, match="conflict of interest"):
            decide_blind(sampled, by=verifier, at=signed.at)

    def test_and_from_recording_what_was_achieved_before(self, bench):
        beside.conflict(bench, bench.assessor, bench.candidate)
        with pytest.raises(Refused, match="conflict of interest"):
            progress.record_prior(
                candidate=bench.candidate,
                task=task(bench),
                achieved_on=DAY,
                evidence="Paper",
                by=bench.assessor,
                at=bench.at,
            )

    def test_it_ends_with_its_last_day(self, bench, attempt):
        conflict = beside.conflict(bench, bench.assessor, bench.candidate)
        yesterday = DAY - timedelta(days=1)
        with pytest.raises(Refused, match="before the first"):
            conflicts.end(conflict=conflict, on=yesterday, by=bench.manager, at=bench.at)
        conflicts.end(conflict=conflict, on=DAY, by=bench.manager, at=bench.at)
        assert rights.conflicted(person=bench.assessor, candidate=bench.candidate, on=DAY)
        tomorrow = DAY + timedelta(days=1)
        assert not rights.conflicted(person=bench.assessor, candidate=bench.candidate, on=tomorrow)

    def test_an_assessor_declares_their_own_alone(self, bench):
        other = AssessorFactory(by=bench.manager)
        for person, message in ((bench.assessor, None), (other, "You declare your own")):
            declared = {
                "person": person,
                "candidate": bench.candidate,
                "kind": "tutor",
                "words": "",
                "starts_on": DAY,
                "ends_on": None,
                "by": bench.assessor,
                "at": bench.at,
            }
            if message:
                with pytest.raises(Refused, match=message):
                    conflicts.declare(**declared)
            else:
                assert conflicts.declare(**declared).person == person

    def test_what_it_is_stays_out_of_the_ledger(self, bench):
        beside.conflict(bench, bench.assessor, bench.candidate)
        body = bench.centre.ledger_entries.get(verb="conflict.declare").body
        assert "relative" not in body
        assert "Cousins" not in body


class TestSigningOffWhatIsntOnesOwnToDecide:
    def test_a_role_that_ended_yesterday_signs_nothing(self, bench, attempt):
        role = bench.assessor.roles.get()
        people.end_role(role=role, on=DAY, by=bench.manager, at=bench.at)
        tomorrow = attempt.submitted_at + timedelta(days=1)
        with pytest.raises(Refused, match="in post today"):
            beside.decided(attempt, by=bench.assessor, at=tomorrow)

    def test_a_second_sign_off_says_who_decided_what_and_when(self, bench, attempt):
        signed = beside.decided(attempt, by=bench.assessor)
        other = AssessorFactory(by=bench.manager)
        said = f"{bench.assessor} signed this attempt off already, on 06 January 2025 at 09:49: competent"
        with pytest.raises(Refused, match=said):
            beside.decided(attempt, by=other, decision=Decision.NOT_YET_COMPETENT)
        assert list(attempt.sign_offs.all()) == [signed]

    def test_one_on_a_void_attempt_says_so(self, bench, attempt):
        voids.make_void(
            attempt=attempt,
            cause=VoidCause.EMERGENCY,
            reason="Fire alarm.",
            words="The room was cleared.",
            by=bench.assessor,
            at=attempt.submitted_at + MINUTE,
        )
        with pytest.raises(Refused, match="made this attempt void"):
            beside.decided(attempt, by=bench.assessor)

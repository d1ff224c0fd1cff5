from datetime import timedelta
from uuid import uuid4

import pytest

from academy.models import LedgerEntry
from academy.refusals import Refused
from assessments import observing, outcomes, prompts, questions, signoff
from assessments.marking.observed import Beside
from assessments.marking.results import StrandVerdict
from assessments.models import Observation
from assessments.models.decisions import Decision
from tests.factories import assessments as made
from tests.factories.academy import AssessorFactory, ManagerFactory

pytestmark = pytest.mark.django_db

ASKED = (
    {"key": "why-prove", "question": "Why prove twice?", "points": ["It may have died."], "safety": True},
    {"key": "tone", "question": "Is a tone enough?", "points": ["No."], "safety": False},
)


@pytest.fixture
def working(bench):
    return made.started(bench)


@pytest.fixture
def asked(bench, working):
    return questions.issue(task=working.version.task, content=ASKED, by=bench.manager, at=bench.at)


def step(attempt, slug="isolate"):
    return attempt.version.steps.get(slug=slug)


def see(bench, attempt, slug="isolate", *, seen="met", by=None, sent=None, **other):
    return observing.observe(
        id=sent or uuid4(),
        attempt=attempt,
        step=step(attempt, slug),
        seen=seen,
        by=by or bench.assessor,
        at=bench.at + timedelta(minutes=3),
        **other,
    )


def answer(bench, attempt, key="why-prove", *, words="It may have died.", met=True, sent=None, **other):
    return observing.record_answer(
        id=sent or uuid4(),
        attempt=attempt,
        key=key,
        answer=words,
        met=met,
        by=bench.assessor,
        at=bench.at + timedelta(minutes=4),
        **other,
    )


def critical(attempt):
    return attempt.version.steps.filter(safety_critical=True)


def test_what_is_seen_is_kept_beside_what_is_logged_and_changes_no_marking(bench):
    attempt = made.started(bench)
    for each in critical(attempt):
        see(bench, attempt, each.slug, seen="not-met", note="Not locked off")
    made.work_through(attempt)

    other = made.started(bench, candidate=made.another_candidate(bench))
    made.work_through(other)

    marked = [outcomes.mark_attempt(attempt=each, at=bench.at) for each in (attempt, other)]
    assert marked[0].proposal == marked[1].proposal == "competent"
    assert observing.compared(attempt).verdict is StrandVerdict.NOT_MET
    assert observing.compared(other) is None


def test_the_two_accounts_stand_beside_one_another(bench):
    attempt = made.handed_in(bench, made.Work(skipped=frozenset({"prove-after"})))
    see(bench, attempt, "isolate")
    see(bench, attempt, "prove-before", seen="not-met", note="Indicator not proved")
    see(bench, attempt, "prove-after")

    found = {each.step: each.beside for each in observing.compared(attempt).accounts}

    assert found["isolate"] is Beside.CONFIRMED
    assert found["prove-before"] is Beside.CONTRADICTED
    assert found["prove-after"] is Beside.NOT_LOGGED
    assert found["photo-before"] is Beside.NOT_SEEN


def test_sent_twice_it_is_kept_once(bench, working):
    sent = uuid4()
    assert see(bench, working, sent=sent) == see(bench, working, sent=sent)
    with pytest.raises(Refused, match="same number"):
        see(bench, working, sent=sent, seen="not-seen")
    assert Observation.objects.count() == 1


def test_a_correction_says_why_and_leaves_what_was_written_readable(bench, working):
    first = see(bench, working)
    with pytest.raises(Refused) as refused:
        see(bench, working, seen="not-met", note="No lock")
    assert refused.value.field == "reason"

    second = see(bench, working, seen="not-met", note="No lock", reason="Looked again")

    assert second.supersedes == first
    assert observing.seen_of(working) == {step(working).pk: second}


def test_the_same_again_is_no_correction(bench, working):
    assert see(bench, working) == see(bench, working)


def test_two_assessors_see_each_others_notes(bench, working):
    see(bench, working)
    other = AssessorFactory(by=bench.manager)
    with pytest.raises(Refused, match="already"):
        see(bench, working, seen="not-seen", by=other)


def test_not_met_says_what_was_seen(bench, working):
    with pytest.raises(Refused) as refused:
        see(bench, working, seen="not-met")
    assert refused.value.field == "note"


def test_a_prompt_is_kept_with_it(bench, working):
    sent = uuid4()
    for _ in range(2):
        see(bench, working, sent=sent, level=2, words="Which pole comes first?")

    (given,) = prompts.of_attempt(working)
    assert (given.level, given.step) == (2, step(working))


def test_a_hint_without_words_keeps_nothing(bench, working):
    with pytest.raises(Refused) as refused:
        see(bench, working, level=3)
    assert refused.value.field == "words"
    assert not Observation.objects.exists()


@pytest.mark.parametrize("who", ["candidate", "manager", "technician"])
def test_only_an_assessor_observes_and_never_their_own(bench, working, who):
    with pytest.raises(Refused):
        see(bench, working, by=getattr(bench, who))


def test_an_assessor_of_another_centre_observes_nothing(bench, working):
    with pytest.raises(Refused):
        see(bench, working, by=AssessorFactory(by=ManagerFactory()))


def test_a_step_of_another_task_and_a_word_that_is_none_are_refused(bench, working):
    with pytest.raises(Refused, match="met, not met"):
        see(bench, working, seen="perhaps")
    with pytest.raises(Refused, match="isn’t part of this task"):
        observing.observe(
            id=uuid4(),
            attempt=working,
            step=bench.tasks["safe-isolation"].steps.first(),
            seen="met",
            by=bench.assessor,
            at=bench.at,
        )


def test_after_the_decision_nothing_is_added(bench):
    attempt = made.signed_off(bench).attempt
    with pytest.raises(Refused, match="was decided"):
        see(bench, attempt)


def test_a_safety_critical_step_seen_as_not_met_needs_a_reason_for_competent(bench):
    attempt = made.handed_in(bench)
    see(bench, attempt, seen="not-met", note="Left the key in the lock")
    marking = outcomes.marking_of(outcomes.latest(attempt))

    needed = signoff.reason_needed(marking, Decision.COMPETENT, attempt=attempt)

    assert needed is not None and step(attempt).title in needed
    see(bench, attempt, reason="It was another key")
    assert signoff.reason_needed(marking, Decision.COMPETENT, attempt=attempt) is None


def test_another_step_seen_as_not_met_needs_none(bench):
    attempt = made.handed_in(bench)
    see(bench, attempt, "tee-in", seen="not-met", note="Hose kinked")
    assert observing.reason_needed(attempt) is None


def test_a_question_of_safety_that_was_not_met_needs_a_reason(bench, working, asked):
    answer(bench, working, "tone", words="Yes", met=False)
    assert observing.reason_needed(working) is None
    answer(bench, working, words="Don't know", met=False)
    assert "question of safety" in observing.reason_needed(working)


def test_an_answer_is_kept_with_the_question_as_it_was_asked(bench, working, asked):
    kept = answer(bench, working)
    changed = [dict(ASKED[0], question="Why once more?"), ASKED[1]]
    issued = questions.issue(task=working.version.task, content=changed, by=bench.manager, at=bench.at)

    assert kept.question == "Why prove twice?"
    assert questions.of_attempt(working) == asked != issued


def test_an_answer_is_corrected_with_a_reason(bench, working, asked):
    answer(bench, working)
    with pytest.raises(Refused, match="say why"):
        answer(bench, working, met=False)
    answer(bench, working, met=False, reason="Misheard")
    assert [each.met for each in working.oral_answers.current()] == [False]


def test_an_empty_answer_and_an_unknown_question_are_refused(bench, working, asked):
    with pytest.raises(Refused) as refused:
        answer(bench, working, words=" ")
    assert refused.value.field == "answer"
    with pytest.raises(Refused, match="one of this task’s questions"):
        answer(bench, working, "nothing")


def test_the_ledger_has_no_word_of_notes_and_answers(bench, working, asked):
    see(bench, working, seen="not-met", note="Trembling hands")
    answer(bench, working, words="My father told me")
    bodies = " ".join(LedgerEntry.objects.values_list("body", flat=True))
    assert "observation.record" in bodies and "oral-answer.record" in bodies
    assert "Trembling" not in bodies and "father" not in bodies


# --- Issuing questions ------------------------------------------------------------------------------


def test_the_same_questions_are_issued_once(bench, working, asked):
    again = questions.issue(task=working.version.task, content=ASKED, by=bench.manager, at=bench.at)
    assert again == asked
    assert questions.issue(task=working.version.task, content=ASKED[:1], by=None, at=bench.at).number == 2


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"key": "two words"}, "needs a key"),
        ({"question": " "}, "has no words"),
        ({"points": []}, "needs the points"),
        ({"safety": "yes"}, "true or false"),
        ({"answer": "x"}, "has no “answer”"),
    ],
)
def test_a_question_that_is_none_is_refused(bench, working, wrong, words):
    with pytest.raises(Refused, match=words):
        questions.issue(task=working.version.task, content=[dict(ASKED[0]) | wrong], by=None, at=bench.at)


def test_no_questions_and_the_same_key_twice_are_refused(bench, working):
    for content in ([], [ASKED[0], ASKED[0]], [dict(ASKED[0], key=f"q{n}") for n in range(13)]):
        with pytest.raises(Refused):
            questions.issue(task=working.version.task, content=content, by=None, at=bench.at)

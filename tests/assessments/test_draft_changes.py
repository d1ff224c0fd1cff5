from hypothesis import given
from hypothesis import strategies as st

from assessments.draft_changes import ChangeKind, FieldChange, changes, in_words


def step(slug, **more):
    return {"slug": slug, "kind": "action", "title": slug.title(), "instruction": "Do it.", **more}


def task(*steps, **more):
    return {"title": "A task", "designs": ["board"], "steps": list(steps), **more}


def found(before, after):
    return [(change.kind, change.title) for change in changes(before=before, after=after)]


A, B, C, D = (step(slug) for slug in "abcd")


def test_the_same_task_has_no_changes():
    assert changes(before=task(A, B), after=task(A, B)) == ()


def test_what_goes_without_saying_is_no_change():
    plain, said = (
        task(A),
        task({**A, "required": True, "safety_critical": False, "why": "", "parameters": {}}),
    )
    assert changes(before=plain, after=said) == ()


def test_added_and_removed_steps_are_named():
    assert found(task(A, B), task(A, C)) == [(ChangeKind.ADDED, "C"), (ChangeKind.REMOVED, "B")]


def test_the_one_step_that_was_moved_is_named_and_not_those_that_made_way():
    assert found(task(A, B, C, D), task(D, A, B, C)) == [(ChangeKind.MOVED, "D")]
    assert found(task(A, B, C, D), task(B, C, D, A)) == [(ChangeKind.MOVED, "A")]


def test_a_changed_field_shows_what_it_was_and_is():
    (change,) = changes(before=task(A), after=task({**A, "why": "It may be live.", "safety_critical": True}))
    assert change.fields == (
        FieldChange(field="Why", was="", now="It may be live."),
        FieldChange(field="Safety-critical", was="no", now="yes"),
    )


def test_how_often_a_group_is_done_is_a_change_of_its_steps():
    thrice, often = ({"repeat": times, "steps": [A, B]} for times in (3, 5))
    first, second = changes(before=task(thrice), after=task(often))
    assert (first.title, second.title) == ("A", "B")
    assert first.fields == (FieldChange(field="Done", was="3 times over", now="5 times over"),)


def test_particulars_come_first():
    first, _ = changes(before=task(A, cautions=[]), after=task(B, A, cautions=["Mind the fan."]))
    assert first.title == ""
    assert first.fields == (FieldChange(field="Cautions", was="", now="Mind the fan."),)


def test_values_are_said_in_words():
    assert in_words({"lower": 1.5, "unit": "mbar"}) == "lower 1.5, unit mbar"
    assert in_words([{"value": "ok", "label": "All well"}]) == "All well (ok)"


@given(order=st.permutations([A, B, C, D]))
def test_moves_never_name_more_than_they_must(order):
    moves = found(task(A, B, C, D), task(*order))
    assert len(moves) <= 3
    assert {kind for kind, _ in moves} <= {ChangeKind.MOVED}

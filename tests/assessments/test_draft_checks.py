import pytest

from assessments.draft_checks import problems, range_rows
from assessments.expansion import DesignData
from assessments.surroundings import OtherTask, Point, Surrounding, Surroundings

KEYS = {("taps", "running"): "level", ("contacts", "off"): "state"}


def rig_design(slug="switch", ranges=None, conductors=()):
    points = {
        "taps": Point(label="Taps", quantity="pressure"),
        "contacts": Point(label="Contacts", quantity="resistance"),
    }
    conditions = {"off": "Fan off", "running": "Fan running"}
    return Surrounding(
        name=f"The {slug} rig",
        expansion=DesignData(
            slug=slug,
            conductors=conductors,
            faults=(("welded", "Welded"),),
            test_points={name: point.quantity for name, point in points.items()},
            conditions=tuple(conditions),
            measurands=KEYS,
        ),
        points=points,
        conditions=conditions,
        measurands={key: "/".join(key) for key in KEYS},
        ranges={"VB-01": frozenset(KEYS), "VB-02": frozenset()} if ranges is None else ranges,
    )


def around(**more):
    designs = {"switch": rig_design()} | more.pop("designs", {})
    return Surroundings(designs=designs, criteria={"S1": "Works safely."}, **{"tasks": {}, **more})


def step(slug="look", kind="action", **more):
    return {"slug": slug, "kind": kind, "title": "Look", "instruction": "Look.", **more}


def reading(slug="taps-running", **more):
    whole = {
        "instrument_kind": "manometer",
        "quantity": "pressure",
        "judged_by": "agrees",
        "measurand": ["taps", "running"],
    }
    return {
        name: value for name, value in (step(slug, "reading", **whole) | more).items() if value is not None
    }


def task(*steps, **more):
    whole = {
        "slug": "a-task",
        "title": "A task",
        "position": 10,
        "designs": ["switch"],
        "purpose": "To see.",
        "guide_minutes": 10,
        "requires": [],
        "criteria": ["S1"],
        "cautions": ["Mind the fan."],
        "steps": list(steps) or [step()],
    }
    return whole | more


def found(data, known=None):
    return [(each.place, each.field, each.text) for each in problems(data, known=known or around())]


def test_nothing_is_wrong_with_a_whole_task():
    assert found(task(step(), reading())) == []


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"title": " "}, "title", "Give the task a title."),
        ({"purpose": ""}, "purpose", "Say what the task is for."),
        ({"guide_minutes": 0}, "guide_minutes", "how many minutes"),
        ({"guide_minutes": 601}, "guide_minutes", "how many minutes"),
        ({"cautions": [" "]}, "cautions", "at least one caution"),
        ({"designs": []}, "designs", "at least one rig design"),
        ({"designs": ["boat"]}, "designs", "no rig design “boat”"),
        ({"criteria": ["Z9"]}, "criteria", "no criterion “Z9”"),
        ({"requires": ["gone"]}, "requires", "No task “gone” is in force."),
        ({"requires": ["a-task"]}, "requires", "round in a circle: “A task” comes after “A task”."),
        ({"steps": []}, "steps", "no steps yet"),
    ],
)
def test_what_is_wrong_with_the_particulars(given, field, words):
    places = [(place, name) for place, name, text in found(task(**given)) if words in text]
    assert places == [(None, field)]


def test_prerequisites_that_go_round_in_a_circle_are_named():
    tasks = {
        "first": OtherTask(title="First", requires=frozenset({"second"})),
        "second": OtherTask(title="Second", requires=frozenset({"a-task"})),
    }
    ((_, field, text),) = found(task(requires=["first"]), around(tasks=tasks))
    assert field == "requires"
    assert "“A task” comes after “First” comes after “Second” comes after “A task”" in text


@pytest.mark.parametrize(
    ("wrong", "field", "words"),
    [
        (step(title=""), "title", "Give the step a title."),
        (step(instruction=" "), "instruction", "Say what to do."),
        (step("Not A Slug"), "slug", "small letters"),
        (step(kind="dance"), "kind", "no kind of step “dance”"),
        (step(safety_critical=True), "why", "It is safety-critical: say why."),
        (step(instrument_kind="spoon"), "instrument_kind", "no kind of instrument “spoon”"),
        (step(condition="upside-down"), "condition", "no condition “upside-down”"),
        (step("s" * 61), "slug", "longer than 60"),
        (reading(instrument_kind=None), "instrument_kind", "with which instrument"),
        (reading(quantity=None), "quantity", "Say what is read"),
        (reading(judged_by=None), "judged_by", "how the reading is judged"),
        (reading(measurand=None), "measurand", "Choose the test point"),
        (reading(measurand=["taps", "off"]), "measurand", "no measurand “taps” in condition “off”"),
        (reading(quantity="resistance"), "quantity", "“Taps” is a pressure."),
        (reading(judged_by="leads", measurand=None), "expected", "Say which is right."),
        (reading(judged_by="falls", parameters={"percent": 80}), "parameters", "“of” is missing"),
        (
            reading(judged_by="falls", parameters={"of": "x", "percent": 80}),
            "parameters",
            "“x” is no reading",
        ),
        (reading(judged_by="conforms", parameters={}), "parameters", "a lower or an upper limit"),
        (step(kind="observation"), "choices", "at least two answers"),
        (step(kind="measurements"), "parameters", "“instruments” should say"),
        (
            step(kind="measurements", parameters={"instruments": {"pressure": "manometer"}}),
            "parameters",
            "with which instrument “Contacts” is read",
        ),
        (step(kind="diagnosis"), "parameters", "Measurements come before a diagnosis"),
    ],
)
def test_what_is_wrong_with_a_step_is_found_at_its_field(wrong, field, words):
    places = [(place, name) for place, name, text in found(task(step("first"), wrong)) if words in text]
    assert places == [((2,), field)]


ANSWERS = [{"value": "a", "label": "A"}, {"value": "b", "label": "B"}]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"choices": [ANSWERS[0], ANSWERS[0]], "expected": ["a"]}, "the same short name"),
        ({"choices": ANSWERS, "expected": ["c"]}, "isn't among the answers"),
        ({"choices": ANSWERS}, "Say which answer is right."),
        (
            {"choices": [ANSWERS[0], {"value": "b", "label": " "}], "expected": ["a"]},
            "An answer has no words.",
        ),
    ],
)
def test_what_is_wrong_with_the_answers(more, words):
    assert words in next(text for _, _, text in found(task(step(kind="conclusion", **more))))


def test_two_steps_of_one_name_are_both_named():
    assert [place for place, field, _ in found(task(step("a"), step("b"), step("a"))) if field == "slug"] == [
        (1,),
        (3,),
    ]


def test_a_reading_that_no_rig_has_a_range_for_is_named_with_the_rigs():
    bare = around(designs={"switch": rig_design(ranges={"VB-07": frozenset()})})
    ((place, field, text),) = found(task(reading()), bare)
    assert (place, field) == ((1,), "measurand")
    assert "VB-07: no baseline has it" in text
    ((_, _, text),) = found(task(reading()), around(designs={"switch": rig_design(ranges={})}))
    assert "the centre has none in use" in text


def test_one_rig_with_a_range_is_enough_and_all_are_listed():
    (row,) = range_rows(task(step(), reading()), known=around())
    assert (row.place, row.have, row.lack) == ((2,), ("VB-01",), ("VB-02",))


def test_each_design_is_looked_at():
    other = rig_design("other", ranges={})
    known = around(designs={"other": other})
    ((place, _, text),) = found(task(reading(), designs=["switch", "other"]), known)
    assert place == (1,)
    assert "The other rig" in text


def test_a_problem_after_another_is_found_as_well():
    twice = [reading(slug, judged_by="falls", parameters={"of": "x", "percent": 1}) for slug in ("a", "b")]
    assert [place for place, _, _ in found(task(*twice))] == [(1,), (2,)]
    second = reading("second", judged_by="falls", parameters={"of": "a", "percent": 1})
    assert [place for place, _, _ in found(task(twice[0], second))] == [(1,)]


def test_what_is_wrong_in_a_group_is_found_at_its_step_once():
    group = {"repeat": 3, "steps": [step("first"), reading("rise", quantity="resistance")]}
    assert [(place, field) for place, field, _ in found(task(group))] == [((1, 2), "quantity")]


@pytest.mark.parametrize("times", [0, 31])
def test_a_group_is_done_a_sensible_number_of_times(times):
    assert ((1,), "repeat") in [
        (place, field) for place, field, _ in found(task({"repeat": times, "steps": [step()]}))
    ]


def test_pairs_need_conductors_and_a_name_for_each():
    pair = {"for_each": "pair", "step": step("dead")}
    assert "no conductors" in found(task(pair))[0][2]
    board = rig_design(conductors=(("l", "Line"), ("n", "Neutral"), ("e", "Earth")))
    ((place, field, _),) = found(task(pair), around(designs={"switch": board}))
    assert (place, field) == ((1, 1), "slug")
    named = {"for_each": "pair", "step": step("dead-{first}-{second}")}
    assert found(task(named), around(designs={"switch": board})) == []


def test_a_place_that_nothing_fills_in_is_found():
    texts = [text for _, field, text in found(task(step(instruction="Test {first}.")))]
    assert texts == ["Nothing fills in {first} here: only steps of a group have it."]


def test_what_only_issuing_would_refuse_is_found_as_well():
    state = reading(quantity="resistance", instrument_kind="multimeter", measurand=["contacts", "off"])
    ((place, _, text),) = found(task(state))
    assert place == (1,)
    assert "a level" in text

"""The form of a step, over every step of every task that comes with the site."""

import pytest
from django.db import transaction

from assessments.draft_checks import problems
from assessments.draft_forms.checks import InputField
from assessments.draft_forms.steps import DraftStepForm
from assessments.draft_steps import plain_steps
from assessments.surroundings import Surroundings, surroundings_of
from assessments.task_files import read
from rigs.metrology.computed.registry import CALCULATORS
from tests.factories import rigs
from tests.factories.academy import AT, ManagerFactory
from tests.factories.assessments import FIXTURES

pytestmark = pytest.mark.django_db

TASKS = sorted((FIXTURES / "tasks").glob("*.json"))


@pytest.fixture(scope="module")
def known(django_db_setup, django_db_blocker) -> Surroundings:
    """What a centre with every design has. It is read once, and nothing of the centre stays."""
    with django_db_blocker.unblock(), transaction.atomic():
        manager = ManagerFactory()
        every = sorted(path.stem for path in (FIXTURES / "designs").glob("*.json"))
        rigs.load_designs(by=manager, at=AT, slugs=every)
        found = surroundings_of(centre=manager.centre)
        transaction.set_rollback(True)
    return found


def form_of(node, *, task, place, known, data=None):
    return DraftStepForm(data, node=node, task=task, place=place, known=known, initial={"revision": 1})


def as_sent(form):
    """What a browser sends of a form as it is shown."""
    values = {name: form[name].value() for name in form.fields}
    return {name: "" if value is None else value for name, value in values.items() if value is not False}


@pytest.mark.parametrize("path", TASKS, ids=lambda path: path.stem)
def test_a_step_that_is_saved_as_it_is_stays_as_it_was(path, known):
    task = read(path.read_bytes())
    for place, node in plain_steps(task["steps"]):
        shown = form_of(node, task=task, place=place, known=known)
        form = form_of(node, task=task, place=place, known=known, data=as_sent(shown))
        assert form.is_valid(), (node["slug"], form.errors)
        assert form.node_given() == node


@pytest.mark.parametrize("path", TASKS, ids=lambda path: path.stem)
def test_nothing_is_wrong_with_the_tasks_that_come_with_the_site_but_rigs_and_other_tasks(path, known):
    """This centre has designs alone."""
    missing = {"No rig has a range", "There is no criterion", "No task "}
    found = problems(read(path.read_bytes()), known=known)
    assert [each.text for each in found if not each.text.startswith(tuple(missing))] == []


def conforming(known, **more):
    node = {
        "slug": "x",
        "kind": "reading",
        "title": "X",
        "instruction": "X.",
        "instrument_kind": "manometer",
        "quantity": "pressure",
        "judged_by": "conforms",
        "parameters": {"lower": 1, "upper": 2, "unit": "mbar", "source": "The maker", "dated": "2020"},
    }
    task = {"designs": [rigs.TWO_TERMINAL], "steps": [node]}
    shown = form_of(node, task=task, place=(1,), known=known)
    return form_of(node, task=task, place=(1,), known=known, data=as_sent(shown) | more)


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"lower": "", "upper": ""}, "lower"),
        ({"lower": "nan"}, "lower"),
        ({"lower": "much"}, "lower"),
        ({"source": " "}, "source"),
        ({"dated": ""}, "dated"),
        ({"unit": "Ω"}, "unit"),
        ({"applies_from": "soon"}, "applies_from"),
        ({"measurand": "taps/fan-running", "condition": "fan-off"}, "condition"),
    ],
)
def test_limits_that_say_too_little_are_refused_beside_the_field(known, more, field):
    form = conforming(known, **more)
    assert list(form.errors) == [field]


def test_a_limit_may_be_left_out_on_one_side(known):
    form = conforming(known, lower="")
    assert form.is_valid()
    assert "lower" not in form.node_given()["parameters"]


@pytest.mark.parametrize(
    ("typed", "given"),
    [("taps", "taps"), ("20", 20), ("−2.5", -2.5), ("make-*", ["make-*"]), ("a, b, 3", ["a", "b", 3])],
)
def test_inputs_of_a_calculator_are_names_and_numbers(typed, given):
    several = next(each for known in CALCULATORS.values() for each in known.inputs if each.has_repeats)
    assert InputField(several).clean(typed) == given

"""The command that loads a folder: whole, or not at all, with one line that says what is wrong and where."""

import json
import shutil

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

from assessments.models import Criterion, QuestionSet, TaskVersion
from rigs.models import RigDesign
from tests.factories.academy import ManagerFactory

pytestmark = pytest.mark.django_db
TASK = "tasks/safe-isolation.json"
MEASURED = "tasks/venturi-free-passage.json"
FINDING = "tasks/fault-finding-two-terminal.json"
DESIGN = "designs/two-terminal-switch-rig.json"


@pytest.fixture
def centre():
    return ManagerFactory().centre


@pytest.fixture
def folder(tmp_path):
    """The fixtures, without what no case here needs."""
    kept = tmp_path / "fixtures"
    for name in ("designs", "tasks"):
        shutil.copytree(settings.ROOT / "fixtures" / name, kept / name)
    shutil.copy(settings.ROOT / "fixtures" / "criteria.json", kept)
    return kept


def refused(centre, folder) -> str:
    with pytest.raises(CommandError) as caught:
        call_command("load_catalogue", centre.name, folder=folder)
    return str(caught.value)


def line_with(path, words) -> int:
    lines = path.read_text(encoding="utf-8").splitlines()
    return next(number for number, line in enumerate(lines, start=1) if words in line)


def test_the_whole_folder_is_loaded_and_counted(centre, folder, capsys):
    call_command("load_catalogue", centre.name, folder=folder)
    tasks, designs = (len(list((folder / name).iterdir())) for name in ("tasks", "designs"))
    criteria = len(json.loads((folder / "criteria.json").read_text(encoding="utf-8")))
    assert (
        capsys.readouterr().out == f"{centre}: {designs} rig designs, {criteria} criteria, {tasks} tasks.\n"
    )
    assert TaskVersion.objects.in_force().filter(task__centre=centre).count() >= tasks


QUESTIONS = "questions/safe-isolation.json"


@pytest.fixture
def with_questions(folder):
    shutil.copytree(settings.ROOT / "fixtures" / "questions", folder / "questions")
    return folder


def test_questions_beside_the_tasks_are_issued_once(centre, with_questions, capsys):
    for _ in range(2):
        call_command("load_catalogue", centre.name, folder=with_questions)
    files = len(list((with_questions / "questions").iterdir()))
    assert f"tasks, questions for {files}." in capsys.readouterr().out
    assert QuestionSet.objects.filter(task__centre=centre).count() == files


@pytest.mark.parametrize(
    ("change", "at", "why"),
    [
        (('"safety": true', '"safety": "yes"'), '"prove-twice"', "“safety” is true or false"),
        (('"task": "safe-isolation"', '"task": "unknown"'), '"unknown"', "no task “unknown”"),
        (('"questions": [', '"questions": {}, "x": ['), "", "“questions”, a list"),
    ],
)
def test_a_file_of_questions_that_cannot_be_read_loads_nothing(centre, with_questions, change, at, why):
    path = with_questions / QUESTIONS
    path.write_text(path.read_text(encoding="utf-8").replace(*change, 1), encoding="utf-8")
    said = refused(centre, with_questions)
    assert why in said
    if at:
        assert f"line {line_with(path, at)}" in said
    assert not TaskVersion.objects.filter(task__centre=centre).exists()


@pytest.mark.parametrize(
    ("file", "old", "new", "at", "why"),
    [
        (TASK, '"guide_minutes": 20,', '"guide_minutes": 20', '"requires"', "Expecting ',' delimiter"),
        (TASK, '"guide_minutes": 20', '"guide_minutes": NaN', "", "NaN is no number"),
        (TASK, '"slug": "restore"', '"slug": "identify"', '"identify"', "2 steps with the slug “identify”"),
        (TASK, '"kind": "photo"', '"kind": "picture"', '"photo-lock"', "“picture” is no kind of step"),
        (TASK, '"condition": "isolated"', '"condition": "wet"', '"switch-off"', "has no condition “wet”"),
        (TASK, "{first_label} to", "{erste} to", '"dead-{first}', "{erste} isn't one of"),
        (TASK, '"title": "Tell the', '"titel": "Tell the', '"tell-others"', "“title” is missing"),
        (TASK, '"safety_critical": true', '"safety_critical": "yes"', '"prove-before"', "true or false"),
        (
            TASK,
            '"requires": ["instrument-checks"]',
            '"requires": ["driving"]',
            '"driving"',
            "no task “driving”",
        ),
        (TASK, '"criteria": ["S2"', '"criteria": ["S9"', '"S9"', "no criterion “S9”"),
        (TASK, '"isolation-board-five"', '"board-nine"', '"board-nine"', "no rig design “board-nine”"),
        (TASK, '"designs"', '"design"', "", "needs “designs”"),
        (
            MEASURED,
            '["high-tap", "fan-running"]',
            '["low-tap", "fan-running"]',
            '"high-tap"',
            "has no range for “low-tap” and “fan-running”",
        ),
        (
            MEASURED,
            '"measurand": ["high-tap", "fan-running"]',
            '"condition": "fan-running"',
            '"high-tap"',
            "it needs a measurand that is a level",
        ),
        (MEASURED, '"of": "high-tap"', '"of": "middle-tap"', '"low-tap"', "no reading on a step before it"),
        (
            FINDING,
            '"title": "What is wrong?",',
            '"title": "?", "choices": [{"value": "none", "label": "N"}, {"value": "moon", "label": "M"}],',
            '"diagnosis"',
            "has no fault “moon”",
        ),
        (
            DESIGN,
            '"test_point": "contacts"',
            '"test_point": "kontakt"',
            '"kontakt"',
            "“kontakt”, which the design",
        ),
        (DESIGN, '"unit": "mbar"', '"unit": "V"', '"taps"', "V is a voltage"),
        (DESIGN, '"slug": "contact-welded"', '"slug": "contact-open"', '"contact-open"', "two faults with"),
        ("criteria.json", '"code": "S1"', '"kode": "S1"', "", "“unit”, “code” and “text”"),
    ],
)
def test_what_is_wrong_is_said_in_one_line_with_its_place_and_nothing_is_loaded(  # noqa: PLR0917
    centre, folder, file, old, new, at, why
):
    path = folder / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")

    said = refused(centre, folder)

    assert why in said and "\n" not in said
    assert said.startswith(f"Nothing was loaded. {path.parent.name}/{path.name}")
    if at:
        assert f", line {line_with(path, at)}: " in said
    for rows in (RigDesign, Criterion, TaskVersion):
        assert not rows.objects.exists()


def test_a_file_that_is_no_text_is_named(centre, folder):
    (folder / TASK).write_bytes(b'{"slug": "\xff"}')
    assert "safe-isolation.json: this isn't text in UTF-8" in refused(centre, folder)


def test_a_folder_that_is_not_there_is_named(centre, tmp_path):
    said = refused(centre, tmp_path / "nowhere")
    assert "nowhere" in said and "can't be read: No such file or directory" in said

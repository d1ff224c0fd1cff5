import json
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments import task_files
from assessments.task_files import TaskFileError
from tests.factories.assessments import FIXTURES

TASKS = sorted((FIXTURES / "tasks").glob("*.json"))
WHOLE = """{
  "slug": "look",
  "title": "Look",
  "position": 10,
  "designs": ["board"],
  "purpose": "See.",
  "guide_minutes": 5,
  "requires": [],
  "criteria": [],
  "cautions": ["Mind the fan."],
  "steps": [
    {"slug": "first", "kind": "action", "title": "First", "instruction": "Look."},
    {"slug": "second", "kind": "action", "title": "Second", "why": "It is so.",
     "instruction": "Look again.", "required": false},
    {"repeat": 3, "steps": [
      {"slug": "third", "kind": "action", "title": "Third", "instruction": "And again."}
    ]}
  ]
}
"""


def complaint(text):
    with pytest.raises(TaskFileError) as refused:
        task_files.read(text if isinstance(text, bytes) else text.encode())
    return str(refused.value)


@pytest.mark.parametrize("path", TASKS, ids=lambda path: path.stem)
def test_every_task_that_comes_with_the_site_is_read_and_reads_back_the_same(path):
    data = task_files.read(path.read_bytes())
    assert task_files.read(task_files.write(data).encode()) == data
    known = json.loads(path.read_text(encoding="utf-8"))
    known.pop("version", None)
    assert data == known


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"position": 10,', '"position": 10', "Line 5, character 3: this isn't JSON."),
        ('"position": 10', '"position": "ten"', "Line 4: “position” of the task should be a whole number"),
        ('"title": "Look",', "", "the task has no “title”."),
        ('"slug": "look"', '"slug": "Look it up"', "Line 2: “slug” of the task should be a short name"),
        ('"purpose": "See."', '"purpose": 7', "Line 6: “purpose” of the task should be text."),
        ('"designs": ["board"]', '"design": "board"', "Line 5: write “designs”"),
        ('"criteria": []', '"criterium": []', "the task has no “criteria”."),
        ('"criteria": []', '"criteria": [], "colour": 1', "Line 9: the task has “colour”, which no task"),
        ('"required": false', '"required": "no"', "Line 14: “required” of step 2 should be true or false."),
        ('"why": "It is so."', '"wyh": "It is so."', "Line 13: step 2 has “wyh”, which no task uses here."),
        (', "instruction": "And again."', "", "Line 16: step 3.1 has no “instruction”."),
        ('"repeat": 3', '"repeat": "three"', "Line 15: step 3 should be"),
        ('"repeat": 3', '"for_each": "triple"', "Line 15: step 3 should be"),
        ('"title": "First"', '"title": "First", "title": "Other"', "“title” is given twice in “first”."),
        ('"title": "First"', '"title": ""', "Line 12: “title” of step 1 should be text of 1 to 120"),
        ('"guide_minutes": 5', '"guide_minutes": NaN', "“NaN” is no number."),
        ('"Look."', '"Look.\\u0000"', "It holds a character that can't be stored"),
        ('"Look."', '"Look.\\ud800"', "It holds a character that can't be stored"),
        ('"required": false', '"parameters": {"percent": 1e999}', "a number that is too large"),
        ('"required": false', f'"parameters": {{"percent": {10**20}}}', "too large a number"),
        ('"required": false', '"choices": [{"value": "a"}]', "“choices” of step 2 should be a list"),
    ],
)
def test_a_broken_file_is_refused_with_its_line(old, new, words):
    assert old in WHOLE
    assert words in complaint(WHOLE.replace(old, new, 1))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"", "Line 1, character 1"),
        (b"[]", "a task is an object"),
        (b"{}", "the task has no “slug”."),
        (b'{"slug": "a",\n"title": "\xff"}', "Line 2: this isn't UTF-8 text."),
        (b"[" * 100_000, "nested too deeply"),
        (b" " * 1_000_001, "larger than any task"),
    ],
)
def test_what_is_no_task_is_refused(text, words):
    assert words in complaint(text)


def test_a_group_within_a_group_is_refused():
    inner = '{"repeat": 2, "steps": []}'
    text = WHOLE.replace(
        '{"slug": "third", "kind": "action", "title": "Third", "instruction": "And again."}', inner
    )
    assert "group within a group" in complaint(text)


junk = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@given(key=st.sampled_from(["slug", "title", "steps", "designs", "cautions", "guide_minutes"]), value=junk)
def test_nothing_else_than_a_refusal_comes_of_junk(key, value):
    text = json.dumps({**json.loads(WHOLE), key: value})
    with suppress(TaskFileError):
        task_files.read(text.encode("utf-8", "surrogatepass"))


@given(value=junk)
def test_nothing_else_than_a_refusal_comes_of_a_junk_step(value):
    text = json.dumps({**json.loads(WHOLE), "steps": [value]})
    with suppress(TaskFileError):
        task_files.read(text.encode("utf-8", "surrogatepass"))

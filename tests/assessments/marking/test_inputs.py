"""The frozen inputs of an attempt, as the document that its outcome keeps."""

import json
from dataclasses import replace

import pytest
import rfc8785
from hypothesis import example, given
from hypothesis import strategies as st

from assessments.marking.inputs import (
    FaultInput,
    VersionInput,
    canonical,
    differing_steps,
    digest,
    digest_of_steps,
    steps_as_issued,
)
from tests.factories import diagnoses
from tests.factories.marking import RUNNING, attempt, reading, reading_step, record, step

TAPS = reading_step("taps", 2, "agrees", measurand="taps/fan-running")
ISOLATE = step("isolate", 1, safety_critical=True)
FIGURES = st.floats(allow_nan=False, allow_infinity=False)
ODD = '"\\/\b\f\n\r\t\x00\x1f\x7f\u2028é Ω → 😀'


def worked(**given):
    fields = {"readings": (reading("taps", "1.58", sequence=2),), "records": (record("isolate", 1),)}
    return attempt(ISOLATE, TAPS, **fields | given)


def by_json(document: bytes) -> bytes:
    """What anybody can make of a document again."""
    return json.dumps(
        json.loads(document), sort_keys=True, ensure_ascii=False, separators=(",", ":")
    ).encode()


@given(note=st.text(), typed=st.text(), figure=FIGURES, value=FIGURES, sequence=st.integers(0, 2**31))
@example(note=ODD, typed=ODD, figure=1e-7, value=1e300, sequence=0)
def test_the_document_is_rfc_8785_and_what_pythons_json_makes_of_it(note, typed, figure, value, sequence):
    logged = reading("taps", "1.58", sequence=sequence)._replace(text=typed, si_value=figure)
    document = canonical(
        worked(
            readings=(logged,),
            records=(record("isolate", 1, answer=typed),),
            measurands=(replace(RUNNING, value=value, label=note),),
            fault=FaultInput(slug="h-tube-off", label=note, conclusion="elsewhere"),
        )
    )

    assert document == rfc8785.dumps(json.loads(document)) == by_json(document)


@given(typed=st.text(), figure=FIGURES)
@example(typed=ODD, figure=1e-7)
def test_so_is_that_of_an_attempt_with_measurements_of_the_candidates_own_choice(typed, figure):
    inputs = diagnoses.attempt(*diagnoses.HEALTHY, fault="h-tube-off")
    first, *others = inputs.measurements
    odd = replace(first, reading=first.reading._replace(text=typed, si_value=figure))
    document = canonical(replace(inputs, measurements=(odd, *others)))

    assert document == rfc8785.dumps(json.loads(document)) == by_json(document)
    kept = json.loads(document)["measurements"]
    assert [each["reading"]["sequence"] for each in kept] == ["1", "2", "3", "4", "5"]
    assert kept[0]["reading"]["text"] == typed


def test_every_number_in_the_document_is_a_string():
    def numbers(value):
        match value:
            case dict():
                return [each for member in value.values() for each in numbers(member)]
            case list():
                return [each for member in value for each in numbers(member)]
            case bool() | str() | None:
                return []
        return [value]

    document = json.loads(canonical(worked()))

    assert numbers(document) == []
    assert document["readings"][0]["si_value"] == "158"
    assert document["readings"][0]["sequence"] == "2"
    assert document["measurands"][0]["other_u"] == "0.9"


@pytest.mark.parametrize("figure", [float("nan"), float("inf")])
def test_what_is_no_number_is_refused(figure):
    with pytest.raises(ValueError, match="no number"):
        canonical(worked(readings=(reading("taps", "1.58")._replace(si_value=figure),)))


def test_minus_zero_is_zero():
    zero, minus = (reading("taps", "0.00")._replace(si_value=figure) for figure in (0.0, -0.0))

    assert canonical(worked(readings=(zero,))) == canonical(worked(readings=(minus,)))


def test_the_steps_are_in_the_document_by_their_digest_alone():
    inputs = worked()
    document = json.loads(canonical(inputs))

    assert "steps" not in document
    assert document["steps_sha256"] == digest_of_steps(inputs.steps)
    assert len(canonical(inputs)) < 3000


@pytest.mark.parametrize(
    "changed",
    [
        {"title": "Another"},
        {"expected": ("closed",)},
        {"required": False},
        {"parameters": {"percent": 80}},
        {"order": 3},
        {"choices": (("a", "A"),)},
    ],
)
def test_a_change_to_any_field_of_a_step_changes_the_digest(changed):
    before, after = worked(), worked()
    steps = (ISOLATE, replace(TAPS, **changed))
    after = replace(after, version=replace(after.version, steps=steps))

    assert digest(canonical(before)) != digest(canonical(after))
    (line,) = differing_steps(before.steps, after.steps)
    assert line.startswith(f"/steps/taps/{next(iter(changed))}")


def test_a_whole_number_of_a_parameter_is_the_same_as_a_decimal_one():
    whole, decimal = (replace(TAPS, parameters={"percent": figure}) for figure in (80, 80.0))

    assert digest_of_steps([whole]) == digest_of_steps([decimal])


def test_a_step_that_is_gone_or_new_is_named():
    assert differing_steps([ISOLATE, TAPS], [TAPS])[0].startswith("/steps/isolate: was {")
    assert differing_steps([TAPS], [TAPS]) == []


def test_steps_come_back_from_what_was_issued_with_all_that_was_left_out():
    issued = [
        {"slug": "isolate", "kind": "action", "title": "Isolate", "safety_critical": True},
        {
            "slug": "taps",
            "kind": "reading",
            "title": "Taps",
            "judged_by": "agrees",
            "measurand": ["taps", "fan-running"],
        },
    ]

    assert steps_as_issued(issued) == (ISOLATE, TAPS)


def test_things_are_found_by_what_names_them():
    inputs = worked()

    assert inputs.step("taps") is TAPS
    assert inputs.measurand("taps/fan-running") == RUNNING
    assert inputs.measurand("nowhere/never") is None
    assert inputs.instrument("manometer").tag == "MN-02"
    assert inputs.reading_at("isolate") is None
    assert inputs.reading_at("taps").text == "1.58"


def test_versions_with_the_same_steps_have_the_same_digest():
    one, other = (
        VersionInput(task="invented", number=number, content_sha256=str(number), steps=(ISOLATE, TAPS))
        for number in (1, 2)
    )

    assert one.steps_sha256 == other.steps_sha256

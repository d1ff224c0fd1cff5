"""A task whose readings couldn't be judged isn't issued: each fault is named, with its step."""

import pytest

from assessments.marking.parameters import ParameterError, require_sound
from tests.factories.marking import reading_step, step

STATED = {"lower": 1.0, "upper": 2.0, "unit": "mbar", "source": "maker’s plate", "dated": "2019"}
HEAT = {
    "calculator": "gross-heat-input",
    "inputs": {"volume": "gas", "time": "time", "calorific_value": 39.5},
}
ERROR = {"calculator": "ntc-10k-error", "inputs": {"resistance": "it", "temperature": "bath"}}
BEFORE = {"taps": "pressure", "ports": "pressure", "gas": "volume", "time": "time", "bath": "temperature"}


def sound(judged_by, parameters, *, quantity="pressure", measurand="", before=None):
    steps = [
        *(reading_step(slug, order, "agrees") for order, slug in enumerate(BEFORE)),
        *(before or ()),
        reading_step("it", 20, judged_by, parameters=parameters, measurand=measurand),
        reading_step("later", 21, "agrees"),
    ]
    kinds = {each.slug: "resistance" if each.slug == "answer" else "pressure" for each in steps}
    require_sound(steps, quantities={**kinds, **BEFORE, "it": quantity})


@pytest.mark.parametrize(
    ("judged_by", "parameters", "given"),
    [
        ("agrees", {}, {}),
        ("zero", {}, {}),
        ("contact", {}, {}),
        ("falls", {"of": "taps", "percent": 80}, {}),
        ("reverses", {"of": "taps"}, {}),
        ("changes", {"of": "taps"}, {}),
        ("repeats", {"of": ["taps", "ports"]}, {"measurand": "taps/fan-running"}),
        ("closes", {"high": "taps", "low": "ports"}, {}),
        ("conforms", STATED, {}),
        ("conforms", {**STATED, "unit": "Pa"}, {}),
        ("conforms", {**STATED, **ERROR, "unit": "°C"}, {"quantity": "resistance"}),
        ("computed", HEAT, {"quantity": "power"}),
        (
            "computed",
            {"calculator": "ratio", "inputs": {"of": "taps", "to": "ports"}},
            {"quantity": "dimensionless"},
        ),
        ("computed", {"calculator": "mean", "inputs": {"readings": ["taps", "ports"]}}, {}),
    ],
)
def test_sound_parameters_pass(judged_by, parameters, given):
    sound(judged_by, parameters, **given)


@pytest.mark.parametrize(
    ("judged_by", "parameters", "given", "why"),
    [
        ("falls", {"percent": 80}, {}, "“of” is missing"),
        ("falls", {"of": "taps"}, {}, "“percent” should be a number"),
        ("falls", {"of": "taps", "percent": True}, {}, "“percent” should be a number"),
        ("falls", {"of": "nowhere", "percent": 80}, {}, "“nowhere” is no reading on a step before it"),
        ("falls", {"of": "later", "percent": 80}, {}, "“later” is no reading on a step before it"),
        ("falls", {"of": "it", "percent": 80}, {}, "“it” is no reading on a step before it"),
        ("falls", {"of": "bath", "percent": 80}, {}, "“bath” is a temperature, not a pressure"),
        ("changes", {"of": "taps", "leads": "nowhere"}, {}, "“nowhere” is no reading"),
        ("contact", {"leads": ""}, {}, "“leads” is missing"),
        ("closes", {"high": "taps"}, {}, "“low” is missing"),
        ("repeats", {"of": "taps"}, {"measurand": "a/b"}, "“of” should list the steps"),
        ("repeats", {"of": []}, {"measurand": "a/b"}, "“of” should list the steps"),
        ("repeats", {"of": ["taps", "taps"]}, {"measurand": "a/b"}, "“of” names a step twice"),
        ("repeats", {"of": ["taps"]}, {}, "say which measurand it repeats"),
        ("conforms", {"unit": "mbar", "source": "s", "dated": "d"}, {}, "give a lower or an upper limit"),
        ("conforms", {**STATED, "upper": 1.0}, {}, "the lower limit 1 isn't below the upper one 1"),
        ("conforms", {**STATED, "upper": float("nan")}, {}, "“upper” should be a number"),
        ("conforms", {**STATED, "source": " "}, {}, "“source” is missing"),
        ("conforms", {**STATED, "dated": ""}, {}, "“dated” is missing"),
        ("conforms", {**STATED, "unit": "furlong"}, {}, "“furlong” is not a unit used here"),
        ("conforms", {**STATED, "unit": "V"}, {}, "V is a voltage; this reading is a pressure"),
        (
            "conforms",
            {**STATED, **ERROR},
            {"quantity": "resistance"},
            "the limits should be in °C, which the calculator gives",
        ),
        (
            "conforms",
            {**STATED, "calculator": "difference", "inputs": {"high": "taps", "low": "ports"}},
            {},
            "its own reading isn't among the inputs",
        ),
        ("computed", {"calculator": "magic"}, {}, "there is no calculator “magic”"),
        ("computed", {"calculator": "mean"}, {}, "“inputs” should give each of the calculator's inputs"),
        ("computed", {"calculator": "mean", "inputs": {}}, {}, "“mean” takes readings: look at “readings”"),
        (
            "computed",
            {"calculator": "mean", "inputs": {"readings": []}},
            {},
            "“readings” takes one figure or more",
        ),
        (
            "computed",
            {"calculator": "difference", "inputs": {"high": ["taps", "ports"], "low": 1}},
            {},
            "“high” takes one figure",
        ),
        (
            "computed",
            {"calculator": "mean", "inputs": {"readings": [None]}},
            {},
            "should be a step or a number",
        ),
        ("computed", HEAT, {}, "the calculator has a power where a pressure is read"),
        (
            "computed",
            {**HEAT, "inputs": {**HEAT["inputs"], "volume": "bath"}},
            {"quantity": "power"},
            "the calculator has a volume where a temperature is read",
        ),
        (
            "computed",
            {**HEAT, "inputs": {**HEAT["inputs"], "calorific_value": "taps"}},
            {"quantity": "power"},
            "the calculator has MJ/m³ where a pressure is read",
        ),
        ("computed", {**HEAT, "allowance": -1}, {"quantity": "power"}, "the allowance is below zero"),
    ],
)
def test_what_is_wrong_is_named_with_its_step(judged_by, parameters, given, why):
    with pytest.raises(ParameterError) as caught:
        sound(judged_by, parameters, **given)

    assert str(caught.value).startswith(f"Step “it”, judged by “{judged_by}”: ")
    assert why in str(caught.value)


def test_limits_are_held_against_what_an_instrument_shows():
    answer = reading_step(
        "answer",
        9,
        "computed",
        parameters={
            "calculator": "winding-resistance",
            "inputs": {"resistance": 52, "measured_at": 20, "wanted_at": 60},
        },
    )
    parameters = {
        **STATED,
        "calculator": "without-leads",
        "unit": "Ω",
        "inputs": {"resistance": "it", "leads": "answer"},
    }

    with pytest.raises(ParameterError, match="“answer” is an answer; limits need what an instrument shows"):
        sound("conforms", parameters, quantity="resistance", before=[answer])


def test_steps_that_are_no_readings_are_passed_over():
    require_sound([step("isolate", 1)], quantities={})

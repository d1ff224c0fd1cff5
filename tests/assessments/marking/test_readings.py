"""Each kind of check on a reading, and what no check can judge."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.marking import wording
from assessments.marking.inputs import FaultInput
from assessments.marking.readings import mark_readings
from rigs.metrology.conformity import Verdict
from rigs.metrology.quantities import Qualifier, si_factor
from tests.factories.marking import MANOMETER, RUNNING, attempt, reading, reading_step, said

TAPS = reading_step("taps", 1, "agrees", measurand="taps/fan-running")
LEADS = reading_step("leads", 1, "leads", expected=("closed",))
CLOSED = reading_step("closed", 2, "contact", measurand="contacts/fan-running", parameters={"leads": "leads"})
OPEN = reading_step("open", 3, "contact", measurand="contacts/fan-off", parameters={"leads": "leads"})


def marked(*steps, readings, **given):
    (marks,) = mark_readings([attempt(*steps, readings=tuple(readings), **given)])
    return {mark.step: mark for mark in marks}


class TestAgrees:
    @pytest.mark.parametrize(
        ("text", "unit", "verdict"),
        [
            ("1.58", "mbar", Verdict.IN_RANGE),
            ("1,58", "mbar", Verdict.IN_RANGE),
            ("158", "Pa", Verdict.IN_RANGE),
            ("1.58", "hPa", Verdict.IN_RANGE),
            ("16.1", "mmH2O", Verdict.IN_RANGE),
            ("0.634", "inH2O", Verdict.IN_RANGE),
            ("1.40", "mbar", Verdict.OUT_OF_RANGE),
            ("158", "mbar", Verdict.CANNOT_JUDGE),  # the display ends at 20 mbar
            ("-1.58", "mbar", Verdict.OUT_OF_RANGE),
        ],
    )
    def test_a_reading_is_compared_in_whatever_unit_it_was_typed(self, text, unit, verdict):
        assert marked(TAPS, readings=[reading("taps", text, unit=unit)])["taps"].verdict is verdict

    def test_the_sentence_has_the_range_in_the_typed_unit_and_the_words_have_no_digit(self):
        mark = marked(TAPS, readings=[reading("taps", "158", unit="Pa")])["taps"]

        assert (
            mark.sentence
            == "Within what this rig reads today: 158 against 153 to 163\N{NARROW NO-BREAK SPACE}Pa."
        )
        assert not any(letter.isdigit() for letter in mark.words)

    def test_the_numbers_add_up(self):
        numbers = marked(TAPS, readings=[reading("taps", "1.60")])["taps"].numbers

        # a = 0.5 % of 160 + 1 digit of 1 Pa = 1.8 Pa; u = √(1.8²/3 + 1²/12) (GUM 4.3.7, F.2.2.1).
        assert numbers.instrument_u == pytest.approx(1.0786, abs=1e-4)
        # u² = 1.9²·1.1 + 0.9² + 1.0786²; ν = u⁴ / ((1.9²·1.1)²/9) (GUM G.2b).
        assert numbers.u == pytest.approx((3.61 * 1.1 + 0.81 + 1.0786**2) ** 0.5, rel=1e-4)
        assert numbers.dof == pytest.approx(numbers.u**4 / ((3.61 * 1.1) ** 2 / 9), rel=1e-6)
        assert numbers.zeta == pytest.approx((160 - 158) / numbers.u)
        assert numbers.upper - 158 == pytest.approx(numbers.t_in * numbers.u)

    def test_the_centres_floor_widens_the_range_and_never_narrows_it(self):
        narrow = marked(TAPS, readings=[reading("taps", "1.65")])["taps"]
        wide = marked(TAPS, readings=[reading("taps", "1.65")], floor_percent=10.0)["taps"]
        tiny = marked(TAPS, readings=[reading("taps", "1.65")], floor_percent=0.1)["taps"]

        assert narrow.verdict is not Verdict.IN_RANGE
        assert wide.verdict is Verdict.IN_RANGE
        assert wide.numbers.upper == pytest.approx(158 * 1.1)
        assert (tiny.numbers.lower, tiny.numbers.upper) == (narrow.numbers.lower, narrow.numbers.upper)

    @given(hundredths=st.integers(min_value=0, max_value=400), floor=st.floats(min_value=0, max_value=50))
    def test_a_wider_range_never_turns_a_pass_into_a_fail(self, hundredths, floor):
        readings = [reading("taps", f"{hundredths / 100:.2f}")]
        order = [Verdict.IN_RANGE, Verdict.BORDERLINE, Verdict.OUT_OF_RANGE]

        before = marked(TAPS, readings=readings)["taps"].verdict
        after = marked(TAPS, readings=readings, floor_percent=floor)["taps"].verdict

        assert order.index(after) <= order.index(before)

    @given(st.integers(min_value=100, max_value=220))
    def test_a_unit_never_changes_a_verdict(self, pascals):
        in_mbar = marked(TAPS, readings=[reading("taps", f"{pascals / 100:.2f}", unit="mbar")])["taps"]
        in_pascal = marked(TAPS, readings=[reading("taps", str(pascals), unit="Pa")])["taps"]

        assert in_mbar.verdict is in_pascal.verdict
        assert in_mbar.numbers.zeta == pytest.approx(in_pascal.numbers.zeta)


class TestContacts:
    @pytest.mark.parametrize(
        ("leads", "typed", "verdict"),
        [
            ("0.2", "0.4", Verdict.IN_RANGE),
            ("0.2", "OL", Verdict.OUT_OF_RANGE),
            ("0.2", "12.0", Verdict.OUT_OF_RANGE),  # neither open nor closed
            ("0.2", "1.2", Verdict.BORDERLINE),  # 1.0 Ω without leads, give or take the meter
        ],
    )
    def test_a_contact_that_should_be_closed(self, leads, typed, verdict):
        readings = [reading("leads", leads, unit="Ω"), reading("closed", typed, unit="Ω")]

        assert marked(LEADS, CLOSED, readings=readings)["closed"].verdict is verdict

    @pytest.mark.parametrize(
        ("typed", "unit", "verdict"),
        [
            ("OL", "Ω", Verdict.IN_RANGE),
            ("2.5", "MΩ", Verdict.IN_RANGE),
            ("0.3", "Ω", Verdict.OUT_OF_RANGE),
            ("120", "Ω", Verdict.OUT_OF_RANGE),
        ],
    )
    def test_a_contact_that_should_be_open(self, typed, unit, verdict):
        readings = [reading("leads", "0.2", unit="Ω"), reading("open", typed, unit=unit)]

        assert marked(LEADS, OPEN, readings=readings)["open"].verdict is verdict

    def test_high_resistance_is_named_as_a_finding_of_its_own(self):
        readings = [reading("leads", "0.2", unit="Ω"), reading("closed", "12.0", unit="Ω")]

        assert "neither closed nor open" in marked(LEADS, CLOSED, readings=readings)["closed"].sentence

    def test_without_a_lead_reading_a_closed_contact_cannot_be_judged_but_an_open_one_can(self):
        marks = marked(
            CLOSED, OPEN, readings=[reading("closed", "0.4", unit="Ω"), reading("open", "OL", unit="Ω")]
        )

        assert marks["closed"].verdict is Verdict.CANNOT_JUDGE
        assert marks["open"].verdict is Verdict.IN_RANGE

    def test_with_leads_that_do_not_conduct_nothing_read_through_them_can_be_judged(self):
        readings = [reading("leads", "OL", unit="Ω"), reading("open", "OL", unit="Ω")]

        assert marked(LEADS, OPEN, readings=readings)["open"].verdict is Verdict.CANNOT_JUDGE

    @pytest.mark.parametrize(
        ("heard", "verdict"),
        [("tone", Verdict.CANNOT_JUDGE), ("no tone", Verdict.OUT_OF_RANGE), ("closed", Verdict.IN_RANGE)],
    )
    def test_a_tone_is_no_proof_of_a_closed_contact(self, heard, verdict):
        assert marked(CLOSED, readings=[reading("closed", heard, unit="Ω")])["closed"].verdict is verdict


class TestOthers:
    @pytest.mark.parametrize(
        ("text", "verdict"),
        [("0.00", Verdict.IN_RANGE), ("-0.01", Verdict.IN_RANGE), ("0.02", Verdict.OUT_OF_RANGE)],
    )
    def test_a_zero_is_good_to_one_digit(self, text, verdict):
        zero = reading_step("zero", 1, "zero")

        assert marked(zero, readings=[reading("zero", text)])["zero"].verdict is verdict

    @pytest.mark.parametrize(
        ("expected", "text", "verdict"),
        [
            ("closed", "0.2", Verdict.IN_RANGE),
            ("closed", "OL", Verdict.OUT_OF_RANGE),
            ("closed", "3.0", Verdict.OUT_OF_RANGE),
            ("open", "OL", Verdict.IN_RANGE),
            ("open", "0.2", Verdict.OUT_OF_RANGE),
        ],
    )
    def test_leads_by_themselves(self, expected, text, verdict):
        leads = reading_step("leads", 1, "leads", expected=(expected,))

        assert marked(leads, readings=[reading("leads", text, unit="Ω")])["leads"].verdict is verdict

    @pytest.mark.parametrize(
        ("heard", "verdict"), [("tone", Verdict.IN_RANGE), ("no tone", Verdict.OUT_OF_RANGE)]
    )
    def test_a_tone(self, heard, verdict):
        tone = reading_step("tone", 1, "tone", expected=("tone",))

        assert marked(tone, readings=[reading("tone", heard, unit="Ω")])["tone"].verdict is verdict

    @pytest.mark.parametrize(
        ("after", "verdict"),
        [("0.03", Verdict.IN_RANGE), ("1.20", Verdict.OUT_OF_RANGE), ("0.31", Verdict.BORDERLINE)],
    )
    def test_a_fall_is_measured_from_the_candidates_own_earlier_reading(self, after, verdict):
        blocked = reading_step("blocked", 2, "falls", parameters={"of": "taps", "percent": 80})
        readings = [reading("taps", "1.58"), reading("blocked", after)]

        assert marked(TAPS, blocked, readings=readings)["blocked"].verdict is verdict

    def test_a_fall_from_a_reading_that_is_missing_cannot_be_judged(self):
        blocked = reading_step("blocked", 2, "falls", parameters={"of": "taps", "percent": 80})

        mark = marked(TAPS, blocked, readings=[reading("blocked", "0.02")])["blocked"]

        assert mark.verdict is Verdict.CANNOT_JUDGE
        assert mark.sentence == wording.NOTHING_TO_COMPARE


class TestWhatCannotBeJudged:
    @pytest.mark.parametrize("qualifier", [Qualifier.UNSTABLE, Qualifier.NOT_OBTAINED])
    def test_no_number_says_why(self, qualifier):
        mark = marked(TAPS, readings=[said("taps", qualifier)])["taps"]

        assert mark.verdict is Verdict.CANNOT_JUDGE
        assert mark.sentence == wording.NO_READING[qualifier]

    def test_over_limit_where_a_number_was_due(self):
        assert marked(TAPS, readings=[reading("taps", "OL")])["taps"].sentence == wording.NUMBER_DUE

    def test_a_rig_without_a_baseline(self):
        bare = replace(RUNNING, value=None, other_u=None, repeat_sd=None, repeat_dof=None, repeat_share=None)

        mark = marked(TAPS, readings=[reading("taps", "1.58")], measurands=(bare,))["taps"]

        assert mark.sentence == wording.NO_BASELINE

    def test_with_a_fault_set_the_healthy_rig_is_no_measure(self):
        fault = FaultInput(slug="h-tube-off", label="High-side tube off", conclusion="elsewhere")
        readings = [reading("leads", "0.2", unit="Ω"), reading("taps", "1.58")]

        marks = marked(LEADS, replace(TAPS, order=2), readings=readings, fault=fault)

        assert marks["taps"].verdict is Verdict.CANNOT_JUDGE
        assert marks["leads"].verdict is Verdict.IN_RANGE


def test_marks_come_in_the_order_of_the_steps_however_the_readings_are_stored():
    readings = [reading("closed", "0.4", unit="Ω"), reading("leads", "0.2", unit="Ω")]

    (marks,) = mark_readings([attempt(LEADS, CLOSED, readings=tuple(readings))])

    assert [mark.step for mark in marks] == ["leads", "closed"]


def test_many_attempts_at_once_are_marked_as_each_would_be_alone():
    some = [
        attempt(
            TAPS, attempt=str(number), readings=(reading("taps", f"1.{number}0")._replace(id=f"r{number}"),)
        )
        for number in range(1, 9)
    ]

    assert mark_readings(some) == [mark_readings([each])[0] for each in some]


def test_a_display_shows_as_many_decimals_in_another_unit_as_it_can():
    (spec,) = MANOMETER.spec.ranges

    # 0.01 mbar is 1 Pa and 0.004 inH2O: the factors are those of NIST SP 811, B.8.
    assert si_factor("inH2O") == pytest.approx(249.0889, abs=5e-5)
    assert [spec.decimals_in(unit) for unit in ("mbar", "Pa", "inH2O", "kPa")] == [2, 0, 3, 3]

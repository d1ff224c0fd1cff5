"""What must hold between a candidate's own readings, whatever the rig reads today."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.marking import wording
from assessments.marking.inputs import FaultInput
from assessments.marking.readings import mark_readings
from rigs.metrology.conformity import Verdict
from rigs.metrology.quantities import Qualifier
from tests.factories.marking import CLOSED, RUNNING, attempt, reading, reading_step, said

AS_PIPED = reading_step("as-piped", 1, "agrees", measurand="taps/fan-running", title="As piped")
CROSSED = reading_step("crossed", 2, "reverses", parameters={"of": "as-piped"}, title="Crossed")
HIGH = reading_step("high", 1, "agrees", measurand="taps/fan-running", title="High side")
LOW = reading_step("low", 2, "agrees", measurand="taps/fan-running", title="Low side")
ACROSS = reading_step("across", 3, "closes", parameters={"high": "high", "low": "low"}, title="Across")
FAULT = FaultInput(slug="h-tube-off", label="Tube off", conclusion="elsewhere")


def marked(*steps, **given):
    readings = given.pop("readings")
    (marks,) = mark_readings([attempt(*steps, readings=tuple(readings), **given)])
    return marks[-1]


class TestReverses:
    def marked(self, before, after, *, unit="mbar", **given):
        readings = [reading("as-piped", before), reading("crossed", after, unit=unit)]
        return marked(AS_PIPED, CROSSED, readings=readings, **given)

    @pytest.mark.parametrize(
        ("before", "after", "verdict"),
        [
            ("1.58", "-1.57", Verdict.IN_RANGE),
            ("-1.58", "1.57", Verdict.IN_RANGE),
            ("1.58", "-0.40", Verdict.IN_RANGE),  # the sign, not the size
            ("1.58", "1.57", Verdict.OUT_OF_RANGE),
            ("-1.58", "-1.57", Verdict.OUT_OF_RANGE),
            # U at 0.01 mbar is 0.013 mbar: it could be zero.
            ("1.58", "-0.01", Verdict.BORDERLINE),
            ("0.00", "-1.57", Verdict.BORDERLINE),
            ("1.58", "-0.02", Verdict.IN_RANGE),
        ],
    )
    def test_the_signs_are_opposite_and_neither_could_be_zero(self, before, after, verdict):
        assert self.marked(before, after).verdict is verdict

    def test_the_sentence_has_both_in_the_typed_unit_and_the_words_have_none(self):
        found = self.marked("1.58", "-157", unit="Pa")

        assert found.sentence == (
            "The sign reverses: 158\N{NARROW NO-BREAK SPACE}Pa on your own “As piped”, "
            "−157\N{NARROW NO-BREAK SPACE}Pa here."
        )
        assert found.words == "The sign reverses, against your own “As piped”."

    def test_with_a_fault_set_it_is_not_judged(self):
        assert self.marked("1.58", "1.57", fault=FAULT).sentence == wording.FAULT_SET


class TestCloses:
    def marked(self, high, low, across, **given):
        readings = [reading("high", high), reading("low", low), reading("across", across)]
        return marked(HIGH, LOW, ACROSS, readings=readings, **given)

    # u² = 0.0082² + 0.0089² + 0.0107² about these, U = 0.032 mbar, three times u 0.048 mbar.
    @pytest.mark.parametrize(
        ("across", "verdict"),
        [
            ("1.58", Verdict.IN_RANGE),
            ("1.55", Verdict.IN_RANGE),
            ("1.54", Verdict.BORDERLINE),
            ("1.53", Verdict.OUT_OF_RANGE),
            ("1.61", Verdict.IN_RANGE),
            ("1.62", Verdict.BORDERLINE),
            ("1.63", Verdict.OUT_OF_RANGE),
            ("-1.58", Verdict.OUT_OF_RANGE),
        ],
    )
    def test_the_difference_is_that_of_the_two_pressures(self, across, verdict):
        assert self.marked("0.66", "-0.92", across).verdict is verdict

    def test_the_sentence_does_the_sum(self):
        assert self.marked("0.66", "-0.92", "1.57").sentence == (
            "The three pressures close: 0.66 − (−0.92) = 1.58, against 1.57\N{NARROW NO-BREAK SPACE}mbar."
        )
        assert "2.10 − 0.52 = 1.58" in self.marked("2.10", "0.52", "1.58").sentence

    def test_it_holds_on_a_rig_with_a_fault_too(self):
        assert self.marked("0.02", "-0.92", "0.94", fault=FAULT).verdict is Verdict.IN_RANGE
        assert self.marked("0.02", "-0.92", "1.58", fault=FAULT).verdict is Verdict.OUT_OF_RANGE

    @pytest.mark.parametrize("missing", ["high", "low"])
    def test_without_one_of_them_there_is_nothing_to_compare(self, missing):
        readings = [reading(slug, "0.50") for slug in ("high", "low", "across") if slug != missing]

        assert marked(HIGH, LOW, ACROSS, readings=readings).sentence == wording.NOTHING_TO_COMPARE


class TestRepeats:
    """s_r is 1.9 Pa: the critical range is 2.77 s_r = 5.3 Pa of two, 3.31 s_r = 6.3 Pa of three.

    Factors: ISO 5725-6, table 1, unrounded.
    """

    def marked(self, *texts, measurand=RUNNING, unit="mbar"):
        slugs = [f"run-{number}" for number in range(1, len(texts) + 1)]
        steps = [
            reading_step(slug, number, "agrees", measurand="taps/fan-running")
            for number, slug in enumerate(slugs[:-1])
        ]
        last = reading_step(
            slugs[-1],
            len(slugs),
            "repeats",
            measurand="taps/fan-running",
            parameters={"of": slugs[:-1]},
        )
        readings = [reading(slug, text, unit=unit) for slug, text in zip(slugs, texts, strict=True)]
        return marked(*steps, last, readings=readings, measurands=(measurand,))

    @pytest.mark.parametrize(
        ("texts", "verdict"),
        [
            (("1.58", "1.63"), Verdict.IN_RANGE),
            (("1.58", "1.64"), Verdict.BORDERLINE),
            (("1.58", "1.68"), Verdict.OUT_OF_RANGE),  # beyond the 99.73 % quantile of the range, 8.1 Pa
            (("1.58", "1.60", "1.64"), Verdict.IN_RANGE),
            (("1.58", "1.60", "1.65"), Verdict.BORDERLINE),
            (("1.58", "1.60", "1.68"), Verdict.OUT_OF_RANGE),
            (("1.58", "1.68", "1.60"), Verdict.OUT_OF_RANGE),  # whichever it is that lies apart
        ],
    )
    def test_they_lie_within_the_critical_range_of_as_many(self, texts, verdict):
        assert self.marked(*texts).verdict is verdict

    def test_neighbouring_digits_always_agree(self):
        still = replace(RUNNING, repeat_sd=0.0)

        assert self.marked("0.00", "0.01", measurand=still).verdict is Verdict.IN_RANGE
        assert self.marked("0.00", "0.02", measurand=still).verdict is Verdict.OUT_OF_RANGE

    def test_the_numbers_name_the_critical_range(self):
        numbers = self.marked("1.58", "1.60", "1.64").numbers

        # f(3) = 3.3: ISO 5725-6, table 1.
        assert numbers.factor == pytest.approx(3.3, abs=0.05)
        assert numbers.allowed == pytest.approx(numbers.factor * 1.9)
        assert numbers.spread == pytest.approx(6)
        assert [term.shown for term in numbers.terms] == ["1.58", "1.60", "1.64"]

    def test_a_rig_without_a_baseline_has_no_spread_to_compare_with(self):
        bare = replace(RUNNING, value=None, repeat_sd=None)

        assert self.marked("1.58", "1.58", measurand=bare).sentence == wording.NO_BASELINE

    def test_different_numbers_of_repeats_are_marked_side_by_side(self):
        def repeats(number, *texts):
            slugs = [f"run-{place}" for place in range(len(texts))]
            steps = [reading_step(slug, 1, "agrees", measurand="taps/fan-running") for slug in slugs[:-1]]
            last = reading_step(
                slugs[-1], 2, "repeats", measurand="taps/fan-running", parameters={"of": slugs[:-1]}
            )
            readings = tuple(
                reading(slug, text)._replace(id=f"{number}-{slug}")
                for slug, text in zip(slugs, texts, strict=True)
            )
            return attempt(*steps, last, readings=readings, attempt=str(number))

        some = [repeats(1, "1.58", "1.64"), repeats(2, "1.58", "1.60", "1.64"), repeats(3, "1.58", "1.58")]

        verdicts = [marks[-1].verdict for marks in mark_readings(some)]

        assert verdicts == [Verdict.BORDERLINE, Verdict.IN_RANGE, Verdict.IN_RANGE]

    @given(st.permutations(["1.58", "1.60", "1.64", "1.66"]))
    def test_their_order_does_not_matter(self, texts):
        assert self.marked(*texts).verdict is self.marked("1.58", "1.60", "1.64", "1.66").verdict


class TestChanges:
    LEADS = reading_step("leads", 1, "leads", expected=("closed",))
    AT_REST = reading_step(
        "at-rest",
        2,
        "contact",
        measurand="contacts/fan-running",
        parameters={"leads": "leads"},
        title="At rest",
    )
    AFTER = reading_step(
        "after",
        3,
        "changes",
        measurand="contacts/fan-running",
        parameters={"of": "at-rest", "leads": "leads"},
    )

    def marked(self, before, after, *, leads="0.2", unit="Ω", **given):
        readings = [reading("at-rest", before, unit="Ω"), reading("after", after, unit=unit)]
        if leads:
            readings.append(reading("leads", leads, unit="Ω"))
        return marked(self.LEADS, self.AT_REST, self.AFTER, readings=readings, **given)

    @pytest.mark.parametrize(
        ("before", "after", "verdict"),
        [
            ("0.4", "OL", Verdict.IN_RANGE),
            ("OL", "0.4", Verdict.IN_RANGE),
            ("0.4", "0.4", Verdict.OUT_OF_RANGE),
            ("OL", "OL", Verdict.OUT_OF_RANGE),
            ("12.0", "12.0", Verdict.OUT_OF_RANGE),
            ("OL", "12.0", Verdict.BORDERLINE),  # something moved, and didn't make as it should
            ("0.4", "12.0", Verdict.BORDERLINE),
            ("OL", "1.2", Verdict.BORDERLINE),  # 1.0 Ω without leads, give or take the meter
            ("open", "closed", Verdict.IN_RANGE),
            ("closed", "OL", Verdict.IN_RANGE),
            ("open", "OL", Verdict.OUT_OF_RANGE),
        ],
    )
    def test_a_contact_goes_from_closed_to_open_or_back(self, before, after, verdict):
        assert self.marked(before, after).verdict is verdict

    def test_the_sentence_says_from_what_to_what(self):
        found = self.marked("0.4", "OL")

        assert found.sentence == "The contact changes state: closed on your own “At rest”, open here."
        assert found.words == found.sentence

    def test_a_tone_tells_no_state(self):
        for before, after in (("tone", "no tone"), ("0.4", "no tone"), ("tone", "OL")):
            assert self.marked(before, after).sentence == wording.TONE_TELLS_NO_STATE

    def test_without_the_leads_a_closed_contact_is_not_known_to_be_one(self):
        assert self.marked("0.4", "OL", leads="").verdict is Verdict.CANNOT_JUDGE
        assert self.marked("OL", "OL", leads="").verdict is Verdict.OUT_OF_RANGE

    def test_without_the_earlier_reading_there_is_nothing_to_compare(self):
        found = marked(self.AT_REST, self.AFTER, readings=[reading("after", "OL", unit="Ω")])

        assert found.sentence == wording.NOTHING_TO_COMPARE

    def test_an_earlier_reading_that_was_unstable_says_so(self):
        readings = [said("at-rest", Qualifier.UNSTABLE, unit="Ω"), reading("after", "OL", unit="Ω")]

        found = marked(self.AT_REST, self.AFTER, readings=readings)

        assert found.sentence == "Your own “At rest” is no number, so nothing can be compared with it."

    def test_it_is_judged_by_the_contacts_own_limit(self):
        strict = replace(CLOSED, closed_limit=0.5)

        assert self.marked("OL", "0.6").verdict is Verdict.IN_RANGE
        assert self.marked("OL", "0.6", measurands=(strict,)).verdict is Verdict.BORDERLINE


class TestFalls:
    BLOCKED = reading_step("blocked", 2, "falls", parameters={"of": "as-piped", "percent": 80})

    def marked(self, before, after):
        readings = [reading("as-piped", before), reading("blocked", after)]
        return marked(AS_PIPED, self.BLOCKED, readings=readings)

    def test_a_negative_reading_falls_towards_zero_too(self):
        assert self.marked("-1.58", "-0.03").verdict is Verdict.IN_RANGE
        assert self.marked("-1.58", "-1.20").verdict is Verdict.OUT_OF_RANGE

    def test_what_is_zero_has_nothing_to_fall_from(self):
        found = self.marked("0.00", "0.00")

        assert found.verdict is Verdict.CANNOT_JUDGE
        assert found.sentence == wording.nothing_to_fall_from("As piped")

    def test_the_words_have_no_digit(self):
        assert not any(letter.isdigit() for letter in self.marked("1.58", "0.03").words)

    def test_an_earlier_reading_beyond_the_display_is_named(self):
        found = self.marked("30.00", "0.03")

        assert found.sentence == wording.beyond_display("As piped")

    def test_an_earlier_reading_over_limit_is_named(self):
        assert self.marked("OL", "0.03").sentence == wording.no_number("As piped")

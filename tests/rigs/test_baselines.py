from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from academy.models import LedgerEntry, Role
from academy.refusals import Refused
from rigs import baselines, faults, holds, repeats
from rigs.metrology.quantities import Qualifier
from rigs.models import Baseline, BaselineReading, BaselineValue, Fault
from rigs.models.baselines import BaselineStatus, Outlier
from tests.factories import rigs as make
from tests.factories.academy import AT, person_with

pytestmark = pytest.mark.django_db


@pytest.fixture
def bare(db):
    """A bench whose rig has no baseline yet."""
    return make.open_bench(with_baseline=False)


def begin(bare, **given):
    return baselines.start(**{"rig": bare.rig, "by": bare.technician, "at": AT} | given)


def add_run(bare, baseline, *, texts=None, **given):
    readings = make.run(of=bare.rig, rng=make.noise("run"), texts=texts)
    given = {"readings": readings, "instruments": bare.references, "by": bare.technician, "at": AT} | given
    return baselines.add_run(baseline=baseline, **given)


def recorded(bare, **given):
    return make.open_baseline(of=bare.rig, instruments=bare.references, by=bare.technician, **given)


def handed_over(bare, **given):
    return baselines.hand_over(baseline=recorded(bare, **given), by=bare.technician, at=AT)


def measurand(bare, key):
    return next(each for each in baselines.measurands_of(bare.rig) if make.key_of(each) == key)


FAR_OFF = [{}] * 9 + [{"taps:fan-running": "1.90"}]


def far_off(baseline):
    """The readings at the taps that stand apart; noise may have another do so elsewhere."""
    return baselines.flagged_readings(baseline=baseline).filter(measurand__test_point__slug="taps")


def settle(baseline, *, by, outlier=Outlier.KEPT, reason="Tube pushed on loosely."):
    for reading in far_off(baseline):
        baselines.decide_on(reading=reading, outlier=outlier, reason=reason, by=by, at=AT)
    make.keep_outliers(baseline, by=by, at=AT)


class TestStarting:
    def test_it_is_numbered_and_open(self, bare):
        baseline = begin(bare)
        assert (baseline.number, baseline.status, baseline.made_by) == (1, "open", bare.technician)
        assert baselines.in_force(rig=bare.rig) is None

    @pytest.mark.parametrize("finish", [begin, handed_over])
    def test_one_at_a_time_on_a_rig(self, bare, finish):
        finish(bare)
        with pytest.raises(Refused, match="A baseline of VB-01 is being made already"):
            begin(bare)
        assert Baseline.objects.count() == 1

    def test_not_while_a_fault_is_set(self, bare):
        fault = Fault.objects.filter(design=bare.rig.design).first()
        faults.set_fault(rig=bare.rig, fault=fault, by=bare.assessor, at=AT)
        with pytest.raises(Refused, match="A fault is set on VB-01"):
            begin(bare)

    def test_not_where_nothing_is_characterised(self, bare):
        board = make.rig(by=bare.technician, tag="SI-01", design=bare.designs[make.ISOLATION_BOARD])
        with pytest.raises(Refused, match="Nothing of SI-01 is characterised"):
            begin(bare, rig=board)

    def test_the_database_knows_one_unfinished_baseline_a_rig(self, bare):
        begin(bare)
        with pytest.raises(IntegrityError), transaction.atomic():
            Baseline.objects.create(rig=bare.rig, number=2, made_by=bare.technician, started_at=AT)


class TestRuns:
    def test_a_run_keeps_what_was_typed_and_what_it_is_in_si(self, bare):
        baseline = begin(bare)
        texts = {"taps:fan-running": "1,58", "contacts:fan-running": "0.2R", "contacts:fan-off": "OL"}
        assert add_run(bare, baseline, texts=texts) == 1
        row = baseline.readings.get(measurand=measurand(bare, "taps:fan-running"))
        assert (row.text, row.unit, row.repeat) == ("1,58", "mbar", 1)
        assert (row.si_value, row.si_resolution) == pytest.approx((158.0, 1.0))
        assert row.instrument == bare.references["manometer"]
        closed = baseline.readings.get(measurand=measurand(bare, "contacts:fan-running"))
        assert (closed.text, closed.unit, closed.si_value) == ("0.2R", "Ω", 0.2)
        is_open = baseline.readings.get(measurand=measurand(bare, "contacts:fan-off"))
        assert (is_open.qualifier, is_open.si_value) == (Qualifier.OVER_LIMIT, None)

    def test_runs_are_numbered_in_order(self, bare):
        baseline = begin(bare)
        assert [add_run(bare, baseline) for _ in range(3)] == [1, 2, 3]
        assert baselines.runs_of(baseline) == 3

    def test_the_same_run_sent_twice_is_recorded_once(self, bare):
        baseline = begin(bare)
        add_run(bare, baseline, expected=1)
        with pytest.raises(Refused, match="Run 1 is recorded already: the next one is run 2"):
            add_run(bare, baseline, expected=1)
        assert baselines.runs_of(baseline) == 1

    def test_a_missing_reading_is_named(self, bare):
        baseline = begin(bare)
        ports = measurand(bare, "ports:fan-off")
        readings = make.run(of=bare.rig, rng=make.noise("run"))
        del readings[ports]
        with pytest.raises(Refused, match="every run has one reading of each") as refusal:
            add_run(bare, baseline, readings=readings)
        assert refusal.value.field == repeats.field_name(ports, repeat=1)
        assert not BaselineReading.objects.exists()

    @pytest.mark.parametrize(
        ("key", "text", "message"),
        [
            ("taps:fan-running", "OL", "A number is needed here"),
            ("taps:fan-running", "unstable", "A number is needed here"),
            ("contacts:fan-running", "not obtained", "ohms with the leads nulled, or OL"),
            ("taps:fan-running", "158", "MN-01 has no range that reaches this"),  # pascals, typed as mbar
        ],
    )
    def test_a_reading_that_cannot_characterise_is_refused_beside_its_field(self, bare, key, text, message):
        with pytest.raises(Refused, match=message) as refusal:
            add_run(bare, begin(bare), texts={key: text})
        assert refusal.value.field == repeats.field_name(measurand(bare, key), repeat=1)

    def test_an_instrument_is_needed_for_each_kind(self, bare):
        only = {"manometer": bare.references["manometer"]}
        with pytest.raises(Refused, match="Choose the multimeter") as refusal:
            add_run(bare, begin(bare), instruments=only)
        assert refusal.value.field == "multimeter"

    def test_a_bench_instrument_is_no_reference(self, bare):
        with pytest.raises(Refused, match="MN-02 isn't a reference instrument") as refusal:
            add_run(bare, begin(bare), instruments={**bare.references, "manometer": bare.manometer})
        assert refusal.value.field == "manometer"

    def test_a_reference_on_hold_is_refused(self, bare):
        holds.place(on=bare.references["manometer"], reason="Dropped.", by=bare.technician, at=AT)
        with pytest.raises(Refused, match="MN-01 is on hold: Dropped"):
            add_run(bare, begin(bare))

    def test_a_reference_whose_calibration_has_lapsed_is_refused(self, bare):
        with pytest.raises(Refused, match="overdue"):
            add_run(bare, begin(bare), at=AT + timedelta(days=400))

    def test_only_its_maker_adds_to_it(self, bare):
        baseline = begin(bare)
        with pytest.raises(Refused, match=f"{bare.technician.name} is making this baseline"):
            add_run(bare, baseline, by=bare.manager)
        with pytest.raises(Refused, match="only they can add to it"):
            baselines.hand_over(baseline=baseline, by=bare.manager, at=AT)

    def test_nothing_is_added_once_it_is_handed_over(self, bare):
        with pytest.raises(Refused, match="waiting for a second person"):
            add_run(bare, handed_over(bare))


class TestHandingOver:
    def test_five_runs_are_the_least(self, bare):
        baseline = recorded(bare, runs=4, days=2)
        with pytest.raises(Refused, match="at least 5 runs; this one has 4"):
            baselines.hand_over(baseline=baseline, by=bare.technician, at=AT)
        assert handed_over_after_one_more(bare, baseline).status == BaselineStatus.WAITING

    def test_repeat_noise_needs_two_runs_on_one_day(self, bare):
        baseline = recorded(bare, runs=5, days=5)
        with pytest.raises(Refused, match="At least one day needs two runs"):
            baselines.hand_over(baseline=baseline, by=bare.technician, at=AT)


def handed_over_after_one_more(bare, baseline):
    add_run(bare, baseline)
    return baselines.hand_over(baseline=baseline, by=bare.technician, at=AT)


class TestApproving:
    def test_a_second_person_puts_it_in_force(self, bare):
        baseline = baselines.approve(baseline=handed_over(bare), by=bare.assessor, at=AT)
        assert baselines.in_force(rig=bare.rig) == baseline
        assert (baseline.decided_by, baseline.decided_at) == (bare.assessor, AT)
        value = baseline.values.get(measurand=measurand(bare, "taps:fan-running"))
        assert (value.repeats, value.days, value.repeat_dof) == (10, 3, 7)
        assert value.mean == pytest.approx(158, abs=2)
        assert value.repeat_sd == pytest.approx(1.9, rel=0.6)
        state = baseline.values.get(measurand=measurand(bare, "contacts:fan-running"))
        assert (state.state, state.mean) == ("closed", None)

    def test_the_ledger_tells_the_story(self, bare):
        baselines.approve(baseline=handed_over(bare, runs=5, days=1), by=bare.assessor, at=AT)
        verbs = LedgerEntry.objects.filter(verb__startswith="baseline.").values_list("verb", flat=True)
        assert list(verbs) == [
            "baseline.start",
            *["baseline.run"] * 5,
            "baseline.hand-over",
            "baseline.approve",
        ]

    def test_its_maker_does_not_approve_it(self, bare):
        baseline = handed_over(bare)
        with pytest.raises(Refused, match="You made this baseline: a second person decides"):
            baselines.approve(baseline=baseline, by=bare.technician, at=AT)
        assert baselines.in_force(rig=bare.rig) is None
        assert not BaselineValue.objects.exists()

    def test_the_database_wants_a_second_person_too(self, bare):
        baseline = handed_over(bare)
        baseline.decided_by, baseline.decided_at = bare.technician, AT
        with pytest.raises(IntegrityError, match="second_person"), transaction.atomic():
            baseline.save()

    def test_one_that_is_still_being_recorded_is_not_approved(self, bare):
        with pytest.raises(Refused, match="being recorded"):
            baselines.approve(baseline=recorded(bare), by=bare.assessor, at=AT)

    @pytest.mark.parametrize(
        ("key", "texts", "found"),
        [
            ("contacts:fan-running", ["4.2"] * 10, "high resistance"),
            ("contacts:fan-running", ["OL"] * 10, "open"),
            ("contacts:fan-running", ["0.2"] * 9 + ["OL"], "not the same each time"),
            ("contacts:fan-off", ["0.2"] * 10, "closed"),
        ],
    )
    def test_a_contact_in_the_wrong_state_is_not_put_in_force(self, bare, key, texts, found):
        baseline = handed_over(bare, texts=[{key: text} for text in texts])
        with pytest.raises(Refused, match=f"was {found}. Mend the rig first"):
            baselines.approve(baseline=baseline, by=bare.assessor, at=AT)
        assert baselines.in_force(rig=bare.rig) is None

    def test_a_new_number_leaves_the_old_one_as_it_was(self, bench):
        first = baselines.in_force(rig=bench.rig)
        kept = list(first.values.values())
        second = make.approved_baseline(
            of=bench.rig,
            instruments=bench.references,
            by=bench.technician,
            second=bench.assessor,
            running=1.50,
            at=AT + timedelta(days=10),
        )
        assert second.number == 2
        assert baselines.in_force(rig=bench.rig) == second
        assert baselines.before(second) == first
        assert baselines.before(first) is None
        assert list(first.values.values()) == kept

    def test_a_reading_far_off_waits_for_a_decision(self, bare):
        baseline = handed_over(bare, texts=FAR_OFF)
        with pytest.raises(Refused, match="run 10 stands apart from the others"):
            baselines.approve(baseline=baseline, by=bare.assessor, at=AT)

    @pytest.mark.parametrize(
        ("outlier", "repeats"), [(Outlier.KEPT, 10), (Outlier.LEFT_OUT, 9)], ids=["kept", "left out"]
    )
    def test_it_counts_or_not_as_a_second_person_says_and_stays_on_record(self, bare, outlier, repeats):
        baseline = handed_over(bare, texts=FAR_OFF)
        settle(baseline, by=bare.assessor, outlier=outlier)
        baselines.approve(baseline=baseline, by=bare.assessor, at=AT)
        value = baseline.values.get(measurand=measurand(bare, "taps:fan-running"))
        assert value.repeats == repeats
        assert (value.mean > 159) == (outlier == Outlier.KEPT)
        assert baseline.readings.filter(measurand=value.measurand).count() == 10
        assert LedgerEntry.objects.filter(verb="baseline.outlier", actor=bare.assessor.pk).exists()

    def test_a_decision_says_why_and_is_not_its_makers(self, bare):
        baseline = handed_over(bare, texts=FAR_OFF)
        with pytest.raises(Refused, match="Say why") as refusal:
            settle(baseline, by=bare.assessor, reason=" ")
        assert refusal.value.field == "reason"
        with pytest.raises(Refused, match="a second person decides"):
            settle(baseline, by=bare.technician)

    def test_only_a_reading_that_stands_apart_is_left_out(self, bare):
        baseline = handed_over(bare, texts=FAR_OFF)
        good = baseline.readings.get(repeat=3, measurand=measurand(bare, "taps:fan-running"))
        with pytest.raises(Refused, match="doesn't stand apart"):
            baselines.decide_on(
                reading=good, outlier=Outlier.LEFT_OUT, reason="Too low.", by=bare.assessor, at=AT
            )

    def test_enough_must_be_left(self, bare):
        texts = [{}] * 4 + [{"taps:fan-running": "3.90"}]
        baseline = handed_over(bare, runs=5, days=1, texts=texts)
        with pytest.raises(Refused, match="Only 4 readings would be left, and 5 are needed"):
            settle(baseline, by=bare.assessor, outlier=Outlier.LEFT_OUT)

    def test_the_pages_do_it(self, client, bare, morning):
        baseline = handed_over(bare, texts=FAR_OFF)
        client.force_login(bare.assessor)
        decide = reverse("baseline-decide", args=[baseline.pk])
        (reading,) = far_off(baseline)
        address = reverse("outlier-decide", args=[reading.pk])
        assert address in client.get(decide).text
        assert "Choose what becomes of it." in client.post(address, {"reason": "Tube loose."}).text
        page = client.post(address, {"outlier": "left-out", "reason": "Tube loose."}, follow=True).text
        assert "Tube loose." in page
        assert "Left out" in page


class TestSendingBack:
    def test_its_readings_stay_and_a_new_one_can_be_started(self, bare):
        baseline = handed_over(bare)
        decided = baselines.send_back(baseline=baseline, by=bare.assessor, at=AT, note=" Tubes crossed. ")
        assert (decided.status, decided.decision_note) == (BaselineStatus.REJECTED, "Tubes crossed.")
        assert decided.readings.exists()
        assert begin(bare).number == 2

    def test_it_needs_a_reason(self, bare):
        with pytest.raises(Refused, match="Say what is wrong with it") as refusal:
            baselines.send_back(baseline=handed_over(bare), by=bare.assessor, at=AT, note=" ")
        assert refusal.value.field == "note"

    def test_its_maker_does_not_decide_against_it_either(self, bare):
        with pytest.raises(Refused, match="You made this baseline"):
            baselines.send_back(baseline=handed_over(bare), by=bare.technician, at=AT, note="No.")

    def test_one_that_its_maker_left_can_be_set_aside(self, bare):
        decided = baselines.send_back(baseline=begin(bare), by=bare.assessor, at=AT, note="Never finished.")
        assert decided.status == BaselineStatus.REJECTED
        assert begin(bare, by=person_with(Role.Kind.TECHNICIAN, by=bare.manager)).number == 2

    def test_what_is_decided_stays_decided(self, bare):
        baseline = baselines.approve(baseline=handed_over(bare), by=bare.assessor, at=AT)
        with pytest.raises(Refused, match="This baseline is approved"):
            baselines.send_back(baseline=baseline, by=bare.assessor, at=AT, note="On second thoughts.")

from datetime import date, timedelta

import pytest

from rigs import holds, instruments
from rigs.metrology.quantities import Quantity
from rigs.models import Instrument
from rigs.models.instruments import InstrumentKind
from tests.factories import rigs as make
from tests.factories.academy import AT

pytestmark = pytest.mark.django_db

TODAY = AT.date()


def refusal(instrument, *, kind="manometer", on=TODAY, **given):
    return instruments.refusal(instrument=Instrument.objects.get(pk=instrument.pk), kind=kind, on=on, **given)


class TestRefusal:
    def test_one_in_date_and_off_hold_may_be_used(self, manager):
        assert refusal(make.instrument(by=manager)) is None

    def test_the_wrong_kind_is_named(self, manager):
        meter = make.instrument(by=manager, kind=InstrumentKind.MULTIMETER, tag="DM-01")
        assert refusal(meter, kind="voltage-indicator") == (
            "DM-01 is a multimeter; this needs a voltage indicator."
        )

    def test_one_on_hold_says_why(self, manager):
        gauge = make.instrument(by=manager, tag="MN-04")
        holds.place(on=gauge, reason="Dropped, case cracked.", by=manager, at=AT)
        assert refusal(gauge) == "MN-04 is on hold: Dropped, case cracked."

    def test_a_retired_one_is_refused(self, manager):
        gauge = make.instrument(by=manager, tag="MN-04")
        Instrument.objects.filter(pk=gauge.pk).update(retired_at=AT)
        assert refusal(gauge) == "MN-04 is retired."

    def test_a_reference_is_kept_out_of_candidates_hands(self, manager):
        gauge = make.instrument(by=manager, tag="MN-01", is_reference=True)
        assert refusal(gauge) == "MN-01 is a reference instrument, kept for checks and baselines."
        assert refusal(gauge, in_candidates_hands=False) is None

    def test_the_last_day_of_a_calibration_still_counts(self, manager):
        gauge = make.instrument(by=manager, tag="MN-02", certified=False)
        make.certificate(of=gauge, by=manager, on=date(2024, 1, 6), due=TODAY)
        assert refusal(gauge) is None
        assert refusal(gauge, on=TODAY + timedelta(days=1)) == (
            "MN-02 is overdue: its calibration ran out on 06 January 2025."
        )

    def test_an_older_certificate_that_runs_longer_does_not_help(self, manager):
        gauge = make.instrument(by=manager, tag="MN-02", certified=False)
        make.certificate(of=gauge, by=manager, on=date(2024, 1, 6), due=date(2026, 1, 6))
        make.certificate(of=gauge, by=manager, on=date(2024, 6, 6), due=date(2024, 12, 6))
        assert "ran out on 06 December 2024" in refusal(gauge)

    def test_without_a_certificate_it_is_refused(self, manager):
        gauge = make.instrument(by=manager, tag="MN-03", certified=False)
        assert refusal(gauge) == "MN-03 has no calibration certificate on record."

    def test_a_voltage_indicator_needs_none(self, manager):
        indicator = make.instrument(by=manager, kind=InstrumentKind.VOLTAGE_INDICATOR)
        assert refusal(indicator, kind="voltage-indicator") is None


class TestChoices:
    def test_they_are_of_the_kinds_asked_for_in_use_at_the_centre(self, manager, bench):
        gauge = make.instrument(by=manager)
        make.instrument(by=manager, kind=InstrumentKind.MULTIMETER)
        retired = make.instrument(by=manager)
        Instrument.objects.filter(pk=retired.pk).update(retired_at=AT)
        assert list(instruments.choices(centre=manager.centre, kinds=["manometer"])) == [gauge]

    def test_references_and_bench_instruments_are_told_apart(self, bench):
        found = instruments.choices(centre=bench.manager.centre, kinds=["manometer"])
        assert list(found.references()) == [bench.references["manometer"]]
        assert list(found.bench()) == [bench.manometer]


class TestTheShelf:
    def test_what_is_due_soonest_comes_first_and_what_is_retired_last(self, manager):
        def gauge(tag, due):
            made = make.instrument(by=manager, tag=tag, certified=False)
            if due is not None:
                make.certificate(of=made, by=manager, on=date(2024, 1, 1), due=due)
            return made

        gauge("A-LATE", date(2026, 1, 1))
        gauge("B-SOON", date(2025, 2, 1))
        gauge("C-NONE", None)
        retired = gauge("D-GONE", date(2024, 2, 1))
        Instrument.objects.filter(pk=retired.pk).update(retired_at=AT)
        make.instrument(by=manager, kind=InstrumentKind.VOLTAGE_INDICATOR, tag="A-VI")
        shelf = Instrument.objects.visible_to(manager).with_state().by_due_date()
        assert [each.tag for each in shelf] == ["C-NONE", "B-SOON", "A-LATE", "A-VI", "D-GONE"]

    def test_the_due_date_is_that_of_the_newest_certificate(self, manager):
        gauge = make.instrument(by=manager, certified=False)
        make.certificate(of=gauge, by=manager, on=date(2024, 1, 6), due=date(2026, 1, 6))
        make.certificate(of=gauge, by=manager, on=date(2024, 6, 6), due=date(2025, 2, 6))
        assert Instrument.objects.with_state().get(pk=gauge.pk).due_on == date(2025, 2, 6)


def test_a_specification_is_read_back_as_it_was_written(manager):
    meter = make.instrument(by=manager, kind=InstrumentKind.MULTIMETER)
    low, high = sorted(instruments.spec_of(meter.model).ranges, key=lambda each: each.full_scale_si)
    assert (low.quantity, low.unit, low.full_scale, low.counts) == (Quantity.RESISTANCE, "Ω", 600, 3)
    assert low.continuity_threshold == 40
    assert (high.unit, high.full_scale_si) == ("MΩ", 40e6)

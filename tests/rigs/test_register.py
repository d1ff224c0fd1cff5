import json
from datetime import date

import pytest
from django.urls import reverse

from academy.models import LedgerEntry
from academy.refusals import Refused
from rigs import register
from rigs.metrology.quantities import Quantity
from rigs.models import Instrument, InstrumentModel, Rig
from rigs.models.instruments import InstrumentKind
from rigs.register import RangeLine
from tests.factories import rigs as make
from tests.factories.academy import AT, ManagerFactory

pytestmark = pytest.mark.django_db

RANGE = RangeLine(
    quantity=Quantity.PRESSURE, unit="mbar", full_scale=20, resolution=0.01, percent_reading=0.5
)


def add_model(manager, *, ranges=(RANGE,), kind=InstrumentKind.MANOMETER, name="Blue gauge"):
    return register.add_instrument_model(
        centre=manager.centre, kind=kind, name=name, ranges=ranges, by=manager, at=AT
    )


class TestRigs:
    def test_a_rig_is_on_the_bench_under_the_tag_on_its_label(self, manager):
        design = make.load_designs(by=manager)[make.TWO_TERMINAL]
        rig = register.add_rig(
            design=design,
            tag=" vb-01 ",
            place="Bay 2",
            electrical_inspection_due=date(2025, 6, 1),
            by=manager,
            at=AT,
        )
        assert (rig.tag, rig.centre, rig.retired_at) == ("VB-01", manager.centre, None)
        assert LedgerEntry.objects.filter(verb="rig.add", subject=str(rig.pk)).exists()

    def test_a_tag_is_taken_once_however_it_is_typed(self, manager):
        make.rig(by=manager, tag="VB-01")
        with pytest.raises(Refused, match="There is a rig VB-01 already") as refusal:
            make.rig(by=manager, tag="vb-01")
        assert refusal.value.field == "tag"

    def test_another_centre_may_use_the_same_tag(self, manager):
        make.rig(by=manager, tag="VB-01")
        make.rig(by=ManagerFactory(), tag="VB-01")
        assert Rig.objects.visible_to(manager).count() == 1


class TestInstrumentModels:
    def test_its_ranges_are_kept_as_they_stand_on_the_makers_sheet(self, manager):
        coarse = RangeLine(quantity=Quantity.PRESSURE, unit="Pa", full_scale=2000, resolution=1, counts=2)
        model = add_model(manager, ranges=(RANGE, coarse))
        assert list(
            model.ranges.values_list("unit", "full_scale", "resolution", "percent_reading", "counts")
        ) == [
            ("mbar", 20, 0.01, 0.5, 0),
            ("Pa", 2000, 1, 0, 2),
        ]

    def test_a_name_is_used_once(self, manager):
        add_model(manager)
        with pytest.raises(Refused, match="Blue gauge already") as refusal:
            add_model(manager)
        assert refusal.value.field == "name"

    @pytest.mark.parametrize(
        ("wrong", "message"),
        [
            ({"resolution": 300}, "Range 2: The resolution is wider"),
            ({"full_scale": 0}, "Range 2: The full scale must be"),
            ({"counts": -1}, "Range 2: The number of digits"),
            ({"percent_reading": float("nan")}, "Range 2: The % of reading"),
            ({"unit": "V"}, "Range 2: V doesn't measure a pressure"),
            ({"full_scale": 20}, "Range 2 is there twice: 20 mbar"),
        ],
    )
    def test_a_range_that_cannot_be_right_is_refused_and_named(self, manager, wrong, message):
        given = {"quantity": Quantity.PRESSURE, "unit": "mbar", "full_scale": 200, "resolution": 0.1} | wrong
        with pytest.raises(Refused, match=message):
            add_model(manager, ranges=(RANGE, RangeLine(**given)))
        assert not InstrumentModel.objects.exists()

    def test_a_calibrated_kind_needs_a_range(self, manager):
        with pytest.raises(Refused, match="at least one range"):
            add_model(manager, ranges=())
        assert add_model(manager, ranges=(), kind=InstrumentKind.VOLTAGE_INDICATOR).ranges.count() == 0


class TestInstruments:
    def test_it_is_on_the_shelf_and_not_a_reference_unless_said(self, manager):
        added = register.add_instrument(model=add_model(manager), tag="mn-02", serial="77", by=manager, at=AT)
        assert (added.tag, added.is_reference) == ("MN-02", False)
        assert list(Instrument.objects.visible_to(manager)) == [added]

    def test_a_tag_is_taken_once(self, manager):
        make.instrument(by=manager, tag="MN-02")
        with pytest.raises(Refused, match="MN-02 already") as refusal:
            make.instrument(by=manager, tag="mn-02")
        assert refusal.value.field == "tag"


class TestLaterOn:
    def test_where_a_rig_stands_and_its_next_inspection_can_be_changed(self, bench):
        changed = register.change_rig(
            rig=bench.rig,
            place=" Bay 4 ",
            electrical_inspection_due=date(2026, 3, 1),
            by=bench.technician,
            at=AT,
        )
        assert (changed.place, changed.electrical_inspection_due) == ("Bay 4", date(2026, 3, 1))
        entry = LedgerEntry.objects.get(verb="rig.change")
        assert json.loads(entry.body)["facts"] == {"electrical_inspection_due": "2026-03-01"}

    @pytest.mark.parametrize("name", ["rig", "manometer"])
    def test_what_is_retired_keeps_its_reason_and_its_records(self, bench, name):
        thing = getattr(bench, name)
        register.retire(thing=thing, why=" Beyond repair. ", by=bench.technician, at=AT)
        thing.refresh_from_db()
        assert (thing.retired_at, thing.retired_why) == (AT, "Beyond repair.")
        assert type(thing).objects.in_use().filter(pk=thing.pk).count() == 0

    def test_it_is_retired_once_and_with_a_reason(self, bench):
        with pytest.raises(Refused, match="Say why") as refusal:
            register.retire(thing=bench.rig, why=" ", by=bench.technician, at=AT)
        assert refusal.value.field == "why"
        register.retire(thing=bench.rig, why="Sold.", by=bench.technician, at=AT)
        with pytest.raises(Refused, match="VB-01 is retired"):
            register.retire(thing=bench.rig, why="Sold again.", by=bench.technician, at=AT)
        with pytest.raises(Refused, match="VB-01 is retired"):
            register.change_rig(
                rig=bench.rig, place="", electrical_inspection_due=None, by=bench.technician, at=AT
            )

    def test_the_pages_do_both(self, client, bench, morning):
        client.force_login(bench.technician)
        client.post(
            reverse("rig-change", args=[bench.rig.pk]),
            {"place": "Bay 9", "electrical_inspection_due": "2026-05-01"},
        )
        page = client.get(reverse("rig-detail", args=[bench.rig.pk])).text
        assert "Bay 9" in page
        assert "1 May 2026" in page
        for name, thing in (("rig-retire", bench.rig), ("instrument-retire", bench.manometer)):
            address = reverse(name, args=[thing.pk])
            assert "Say why it is retired." in client.post(address, {"why": ""}).text
            assert f"{thing.tag} is retired." in client.post(address, {"why": "Sold."}, follow=True).text

import json

import pytest

from academy.models import LedgerEntry
from academy.refusals import Refused
from rigs import faults
from rigs.models import Fault, FaultSetting
from tests.factories import rigs as make
from tests.factories.academy import AT

pytestmark = pytest.mark.django_db


def fault_of(bench, slug="contact-welded"):
    return Fault.objects.get(design=bench.rig.design, slug=slug)


def set_fault(bench, **given):
    return faults.set_fault(
        **{"rig": bench.rig, "fault": fault_of(bench), "by": bench.assessor, "at": AT} | given
    )


def test_it_is_set_until_a_named_person_takes_it_off(bench):
    setting = set_fault(bench)
    assert faults.set_on(rig=bench.rig) == setting
    removed = faults.remove(setting=setting, by=bench.technician, at=AT)
    assert (removed.removed_by, removed.removed_at) == (bench.technician, AT)
    assert faults.set_on(rig=bench.rig) is None


def test_the_ledger_does_not_say_which(bench):
    setting = set_fault(bench)
    body = json.loads(LedgerEntry.objects.get(verb="fault.set").body)
    assert body["subject"] == str(setting.pk)
    assert body["facts"] == {"rig": str(bench.rig.pk), "practice_only": False}


def test_one_fault_at_a_time(bench):
    set_fault(bench)
    with pytest.raises(Refused, match="A fault is set on VB-01 already") as refusal:
        set_fault(bench, fault=fault_of(bench, "fan-slow"))
    assert refusal.value.field == "fault"
    assert FaultSetting.objects.count() == 1


def test_another_designs_fault_is_refused(bench):
    other = make.rig(by=bench.manager, tag="SI-01", design=bench.designs[make.ISOLATION_BOARD])
    with pytest.raises(Refused, match="SI-01 is not a rig that can have this fault") as refusal:
        set_fault(bench, rig=other)
    assert refusal.value.field == "fault"


def test_it_is_removed_once(bench):
    setting = set_fault(bench)
    faults.remove(setting=setting, by=bench.assessor, at=AT)
    with pytest.raises(Refused, match="removed already"):
        faults.remove(setting=setting, by=bench.technician, at=AT)
    assert FaultSetting.objects.get().removed_by == bench.assessor


def test_a_rig_with_a_fault_set_is_neither_checked_nor_characterised(bench):
    set_fault(bench)
    with pytest.raises(Refused, match="record it as removed first"):
        bench.check()
    with pytest.raises(Refused, match="record it as removed first"):
        make.open_baseline(of=bench.rig, instruments=bench.references, by=bench.technician)

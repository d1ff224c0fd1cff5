"""What the register of rigs and instruments keeps about people: who did what, and in passing, their names."""

from academy.models import Person
from academy.personal import Keeper, Texts
from rigs.models import CalendarAddress


def wipe(person: Person) -> None:
    CalendarAddress.objects.filter(person=person).delete()


TEXTS = (
    Texts(model="rigs.Baseline", fields=("decision_note",), centre="rig__centre"),
    Texts(model="rigs.BaselineReading", fields=("outlier_reason",), centre="baseline__rig__centre"),
    Texts(model="rigs.Hold", fields=("reason", "release_evidence"), centre="placed_by__centre"),
    Texts(model="rigs.Instrument", fields=("retired_why",), centre="centre"),
    Texts(model="rigs.Calibration", fields=("late_note", "laboratory"), centre="instrument__centre"),
    Texts(model="rigs.LevelFigures", fields=("reason",), centre="set_by__centre"),
    Texts(model="rigs.Rig", fields=("retired_why", "place"), centre="centre"),
    Texts(model="rigs.RigDesign", fields=("description",), centre="centre"),
    Texts(model="rigs.Fault", fields=("how_to_set",), centre="design__centre"),
)

KEPT = {
    "names of things, and slugs": (
        "Condition.label",
        "Condition.slug",
        "Fault.conclusion",
        "Fault.label",
        "Fault.slug",
        "Instrument.serial",
        "Instrument.tag",
        "InstrumentModel.name",
        "Rig.tag",
        "RigDesign.conductors",
        "RigDesign.name",
        "RigDesign.slug",
        "TestPoint.label",
        "TestPoint.slug",
        "Calibration.certificate",
    ),
    "figures as typed, and their units": (
        "BaselineReading.qualifier",
        "BaselineReading.text",
        "BaselineReading.unit",
        "CalibrationPoint.quantity",
        "CalibrationPoint.unit",
        "CheckReading.qualifier",
        "CheckReading.text",
        "CheckReading.unit",
        "SpecRange.quantity",
        "SpecRange.unit",
        "TestPoint.quantity",
        "TestPoint.unit",
    ),
    "worked out by the engine": (
        "BaselineValue.flagged",
        "BaselineValue.state",
        "Check.reasons",
        "Check.words",
        "FaultSetting.lookalikes",
        "FaultSetting.pattern",
        "SheetValue.state",
    ),
    "certificates of instruments, kept for as long as results rest on them": (
        "CertificateFile.file",
        "CertificateFile.sha256",
    ),
    "deleted with the person": ("CalendarAddress.token",),
}

KEEPER = Keeper(texts=TEXTS, kept=KEPT, wipe=wipe)

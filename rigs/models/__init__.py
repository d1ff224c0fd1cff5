"""What is on the bench, and what it is worth today.

Everything numerical is stored in SI units as floats for the engine; what a person typed is kept beside
it as text. Rows that others are marked from (specifications, approved baselines, value sheets) are
never changed: a new one supersedes the old.
"""

from rigs.models.baselines import Baseline, BaselineReading, BaselineRoom, BaselineValue
from rigs.models.calendars import CalendarAddress
from rigs.models.certificate_files import CertificateFile
from rigs.models.checks import Check, CheckReading, Session, SheetValue, ValueSheet
from rigs.models.designs import Condition, Fault, Measurand, RigDesign, TestPoint
from rigs.models.holds import FaultSetting, Hold
from rigs.models.instruments import Calibration, CalibrationPoint, Instrument, InstrumentModel, SpecRange
from rigs.models.levels import LevelFigures
from rigs.models.register import Rig
from rigs.models.rooms import RoomConditions

__all__ = [
    "Baseline",
    "BaselineReading",
    "BaselineRoom",
    "BaselineValue",
    "CalendarAddress",
    "Calibration",
    "CalibrationPoint",
    "CertificateFile",
    "Check",
    "CheckReading",
    "Condition",
    "Fault",
    "FaultSetting",
    "Hold",
    "Instrument",
    "InstrumentModel",
    "LevelFigures",
    "Measurand",
    "Rig",
    "RigDesign",
    "RoomConditions",
    "Session",
    "SheetValue",
    "SpecRange",
    "TestPoint",
    "ValueSheet",
]

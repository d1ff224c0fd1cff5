"""agrees: with what the rig reads today, as pinned when the attempt began."""

import math
from collections.abc import Sequence

import numpy as np

from assessments.marking import wording
from assessments.marking.inputs import MeasurandInput
from assessments.marking.numbers import AgreementNumbers, RigNumbers
from assessments.marking.results import Judgement
from assessments.marking.rows import Row, instrument_u
from rigs.metrology.conformity import VERDICTS, Agreement, agrees
from rigs.metrology.quantities import column_from_si


def judge_agrees(rows: Sequence[Row]) -> list[Judgement]:
    known = [row.measurand for row in rows if row.measurand is not None]
    value = np.array([each.value for each in known], dtype=float)
    dof = np.array([math.inf if each.other_dof is None else each.other_dof for each in known])
    floor = np.array([row.rig.floor_percent for row in rows]) / 100 * np.abs(value)
    inst = instrument_u(rows)
    found = agrees(
        reading=np.array([row.si for row in rows]),
        value=value,
        repeat_sd=np.array([each.repeat_sd for each in known], dtype=float),
        repeat_dof=np.array([each.repeat_dof for each in known], dtype=float),
        repeat_share=np.array([each.repeat_share for each in known], dtype=float),
        value_u=np.array([each.other_u for each in known], dtype=float),
        value_dof=dof,
        instrument_u=inst,
        floor=floor,
    )
    units = [row.reading.unit for row in rows]
    ends = zip(
        *(column_from_si(each, unit=units).tolist() for each in (found.lower, found.upper)), strict=True
    )
    return [
        _mark(row, found, index, inst=float(inst[index]), ends=each)
        for index, (row, each) in enumerate(zip(rows, ends, strict=True))
    ]


def _mark(row: Row, found: Agreement, index: int, *, inst: float, ends: tuple[float, float]) -> Judgement:
    """``ends`` are those of the range, in the unit that was typed."""
    verdict = VERDICTS[found.code[index]]
    measurand = row.measurand
    assert measurand is not None and measurand.value is not None  # judged before this
    rig = _rig(row, measurand)
    dof = float(found.dof[index])
    repeat_sd = measurand.repeat_sd or 0.0
    numbers = AgreementNumbers(
        reading=row.si,
        value=measurand.value,
        lower=float(found.lower[index]),
        upper=float(found.upper[index]),
        u=float(found.u[index]),
        dof=None if math.isinf(dof) else dof,
        zeta=float(found.zeta[index]),
        t_in=float(found.t_in[index]),
        t_out=float(found.t_out[index]),
        repeat_sd=repeat_sd,
        value_u=math.hypot(rig.other_u, repeat_sd * math.sqrt(rig.repeat_share)),
        instrument_u=inst,
        instrument=row.instrument_numbers(u=inst),
        rig=rig,
    )
    lower, upper = ends
    sentence = wording.agreement(
        verdict, value=row.shown_value, lower=lower, upper=upper, unit=row.reading.unit
    )
    words = wording.agreement_in_words(verdict, zeta=numbers.zeta, t_in=numbers.t_in)
    return row.mark(verdict, sentence, words, numbers)


def _rig(row: Row, measurand: MeasurandInput) -> RigNumbers:
    return RigNumbers(
        baseline=row.rig.baseline,
        baseline_on=row.rig.baseline_on,
        repeat_dof=float(measurand.repeat_dof or 0),
        repeat_share=measurand.repeat_share or 0.0,
        other_u=measurand.other_u or 0.0,
        other_dof=measurand.other_dof,
        floor_percent=row.rig.floor_percent,
        air_density=measurand.air_density,
        air_u=measurand.air_u,
        air_source=measurand.air_source,
    )

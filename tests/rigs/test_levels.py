from datetime import timedelta

import numpy as np
import pytest

from academy.models import LedgerEntry
from academy.refusals import Refused
from rigs import levels
from rigs.models import LevelFigures
from rigs.models.levels import FiguresSource
from tests.factories import rigs as make
from tests.factories.academy import AT

pytestmark = pytest.mark.django_db


@pytest.fixture
def taps(bench):
    found = bench.rig.design.measurands.select_related("test_point", "condition", "design__centre")
    return next(each for each in found if make.key_of(each) == "taps:fan-running")


def wander(bench, *, checks, drift=0.02, session=0.03, seed=4):
    """Checks of a rig that drifts by `drift` per √week, each session with an effect of its own (shares)."""
    chance = np.random.default_rng(seed)
    level = make.RUNNING
    for week in range(1, checks + 1):
        level *= 1 + chance.normal(0, drift)
        running = level * (1 + chance.normal(0, session))
        bench.check(at=AT + timedelta(days=7 * week), running=running)


def standing_of(measurand):
    return next(each for each in levels.standings(measurand.design) if each.measurand == measurand)


def test_a_design_comes_with_figures(taps):
    figures = levels.in_force([taps])[taps.pk]
    assert (figures.drift_percent, figures.session_percent, figures.row) == (0.6, 1.2, None)


def test_too_few_checks_say_nothing_yet(bench, taps):
    wander(bench, checks=3)
    found = standing_of(taps)
    assert found.estimate is None
    assert found.why_not == "Too few checks: 3 so far, 20 are needed. Wait, or set it by hand."
    with pytest.raises(Refused, match="Too few checks"):
        levels.adopt(measurand=taps, checks=3, by=bench.technician, at=AT)


def test_near_zero_there_is_no_share_to_tell(bench):
    wander(bench, checks=1)
    zero = next(each for each in levels.standings(bench.rig.design) if "fan off" in str(each.measurand))
    assert "near zero" in zero.why_not


def test_the_estimate_is_what_made_the_checks_and_says_how_sure_it_is(bench, taps):
    wander(bench, checks=26)
    found = standing_of(taps).estimate
    assert (found.rigs, found.checks) == (1, 26)
    assert found.drift.lower < 2.0 < found.drift.upper
    assert found.session.lower < 3.0 < found.session.upper
    assert found.session.lower < found.session_percent < found.session.upper


def test_an_adopted_estimate_counts_for_later_sheets_alone(bench, taps):
    wander(bench, checks=24)
    before = bench.rig.value_sheets.first()
    kept = list(before.values.values())
    at = AT + timedelta(days=170)
    row = levels.adopt(measurand=taps, checks=24, by=bench.technician, at=at)
    assert (row.source, row.rigs, row.checks, row.set_by) == (
        FiguresSource.ESTIMATED,
        1,
        24,
        bench.technician,
    )
    assert list(before.values.values()) == kept
    figures = levels.in_force([taps])[taps.pk]
    assert figures.row == row
    sheet = bench.check(at=at).value_sheet
    taps_now = sheet.values.get(measurand=taps)
    # More of a session's effect means more faith in its own check, and less in those before.
    assert taps_now.repeat_share > before.values.get(measurand=taps).repeat_share
    assert taps_now.other_dof < 1000
    entry = LedgerEntry.objects.get(verb="levels.set")
    assert f'"drift_percent":"{row.drift_percent!r}"' in entry.body


def test_an_estimate_that_has_moved_on_is_not_adopted(bench, taps):
    wander(bench, checks=21)
    with pytest.raises(Refused, match="look at the estimate again"):
        levels.adopt(measurand=taps, checks=20, by=bench.technician, at=AT)
    assert not LevelFigures.objects.exists()


def test_what_is_not_told_from_zero_keeps_the_figure_in_force(bench, taps):
    wander(bench, checks=22, drift=0.0, session=0.04, seed=1)
    found = standing_of(taps).estimate
    assert found.drift_percent is None
    assert found.drift.lower == 0.0 < found.drift.upper
    row = levels.adopt(measurand=taps, checks=22, by=bench.technician, at=AT + timedelta(days=200))
    assert row.drift_percent == 0.6
    assert row.drift_dof is None
    assert row.session_percent == pytest.approx(found.session_percent)


def test_several_rigs_are_taken_together_each_by_its_own_baseline(bench, taps):
    second = make.rig(by=bench.technician, tag="VB-02")
    given = {"of": second, "instruments": bench.references, "by": bench.technician}
    make.approved_baseline(**given, second=bench.assessor, running=2.4)
    wander(bench, checks=11)
    chance = np.random.default_rng(2)
    for week in range(1, 12):
        running = 2.4 * (1 + chance.normal(0, 0.03))
        make.check(**given, at=AT + timedelta(days=7 * week, hours=1), running=running)
    found = standing_of(taps)
    assert (found.estimate.rigs, found.estimate.checks) == (2, 22)


def test_figures_set_by_hand_have_a_reason_and_the_newest_counts(bench, taps):
    for drift, reason in ((1.0, "A guess"), (0.8, "Fans of the same make")):
        levels.set_by_hand(
            measurand=taps,
            drift_percent=drift,
            session_percent=1.5,
            reason=reason,
            by=bench.technician,
            at=AT + timedelta(minutes=drift),
        )
    figures = levels.in_force([taps])[taps.pk]
    assert figures.row.reason == "A guess"  # the later moment, though written first
    assert LevelFigures.objects.count() == 2
    assert LedgerEntry.objects.filter(verb="levels.set").count() == 2


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"reason": "  "}, "reason"),
        ({"drift_percent": -0.1}, "drift_percent"),
        ({"session_percent": float("nan")}, "session_percent"),
        ({"session_percent": 51.0}, "session_percent"),
    ],
)
def test_figures_that_cannot_be_are_refused_beside_their_field(bench, taps, given, field):
    good = {"drift_percent": 0.5, "session_percent": 1.0, "reason": "As measured elsewhere"}
    with pytest.raises(Refused) as refusal:
        levels.set_by_hand(measurand=taps, **(good | given), by=bench.technician, at=AT)
    assert refusal.value.field == field

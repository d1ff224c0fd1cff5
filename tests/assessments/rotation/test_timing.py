import pytest

from assessments.rotation.timing import Timing

# An invented morning: three and a half hours, half an hour of it for briefing and checks.
MORNING = Timing(minutes=180, slots=6, change_over=4)


def test_a_morning_divides_into_six_slots_of_26_minutes_to_work_in():
    assert (MORNING.slot_minutes, MORNING.working_minutes) == (30, 26)


@pytest.mark.parametrize(
    ("minutes", "slots"),
    [(0, 1), (1, 1), (26, 1), (27, 2), (35, 2), (56, 2), (57, 3), (86, 3)],
)
def test_who_stays_at_a_rig_changes_over_once(minutes, slots):
    assert MORNING.slots_for(minutes) == slots


def test_minutes_that_do_not_divide_are_left_over():
    assert Timing(minutes=100, slots=3, change_over=0).slot_minutes == 33


def test_slots_follow_one_another():
    assert [MORNING.minute_of(slot) for slot in range(1, 7)] == [0, 30, 60, 90, 120, 150]


@pytest.mark.parametrize("wrong", [{"minutes": 0}, {"slots": 0}, {"change_over": -1}, {"change_over": 30}])
def test_a_slot_without_a_minute_to_work_in_is_no_slot(wrong):
    with pytest.raises(ValueError, match="change-over"):
        Timing(**({"minutes": 180, "slots": 6, "change_over": 4} | wrong))

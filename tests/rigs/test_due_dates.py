from datetime import date

import pytest

from rigs.due_dates import Due, due

ON = date(2025, 1, 6)


@pytest.mark.parametrize(
    ("due_on", "state"),
    [
        (date(2025, 1, 5), Due.OVERDUE),
        (date(2025, 1, 6), Due.SOON),  # the last day still counts
        (date(2025, 2, 5), Due.SOON),  # thirty days
        (date(2025, 2, 6), Due.IN_DATE),
    ],
)
def test_a_due_date_stands_as_it_does_on_that_day(due_on, state):
    assert due(due_on, on=ON) == state

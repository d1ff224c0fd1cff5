"""Telling many stories at once, in the order of their moments."""

import heapq
from collections.abc import Iterable, Iterator
from datetime import datetime

Story = Iterator[datetime]
"""Yields the moment of what it does next, and does it when it is asked for the moment after that."""


def play(stories: Iterable[Story], *, until: datetime) -> None:
    """Let the stories take turns, the earliest first. What one would do after ``until`` never happens."""
    turns: list[tuple[datetime, int, Story]] = []
    for number, story in enumerate(stories):
        _queue(turns, number, story)
    while turns:
        at, number, story = heapq.heappop(turns)
        if at <= until:
            _queue(turns, number, story)


def _queue(turns: list[tuple[datetime, int, Story]], number: int, story: Story) -> None:
    at = next(story, None)
    if at is not None:
        heapq.heappush(turns, (at, number, story))

"""A diary of actions to come: each is done at its moment, and may write further ones."""

from __future__ import annotations

import heapq
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from random import Random
from typing import Any

Event = Callable[[datetime], None]


@dataclass
class Diary:
    """Actions by moment. Those after the last day of `run` stay undone: that is the open work."""

    random: Random
    listener: Event | None = None
    """Told of each moment before its action."""
    _entries: list[tuple[datetime, int, Event]] = field(default_factory=list)
    _written: int = 0

    def at(self, moment: datetime, action: Event) -> None:
        # A running number between moment and action: at one moment the order of writing decides,
        # and the heap never compares two functions, which Python cannot.
        self._written += 1
        heapq.heappush(self._entries, (moment, self._written, action))

    def run(self, until: datetime) -> int:
        """Do everything up to `until` in order. Returns how many actions were done."""
        done = 0
        while self._entries and self._entries[0][0] <= until:
            moment, _order, action = heapq.heappop(self._entries)
            if self.listener is not None:
                self.listener(moment)
            action(moment)
            done += 1
        return done

    def key(self) -> uuid.UUID:
        """Draw a client's id from the seeded chance, so that a scenario repeats."""
        return uuid.UUID(int=self.random.getrandbits(128), version=4)

    def pick(self, weighted: dict[Any, int]) -> Any:
        """Draw one of the keys, by weight."""
        return self.random.choices(list(weighted), weights=list(weighted.values()))[0]

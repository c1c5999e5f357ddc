"""Moves the recorded story to another month: every month onto a month, in its order.

Knows dates as texts, as SQLite and JSON hold them, and nothing of tables: a new column is shifted
without a word here.
"""

from __future__ import annotations

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from inventory.months.sums.calendar_month import Month

# A month, a day, or a moment in UTC. Not inside a longer word: ids have digits and dashes too.
_DATED = re.compile(
    r"(?<![\w-])(20\d\d)-(0[1-9]|1[0-2])"
    r"(?:-(0[1-9]|[12]\d|3[01])(?:([ T])(\d\d:\d\d:\d\d(?:\.\d+)?))?)?(?![\d-])"
)
# The workshop's own batch codes end in year and month, as in GOMO-2611.
_BATCH = re.compile(r"(?<![\w-])([A-Z]{4})-(\d\d)(0[1-9]|1[0-2])(?![\w-])")


@dataclass(frozen=True)
class Shift:
    """From the month in which the recording ends to the one in which it is told again."""

    recorded: Month
    wanted: Month
    zone: ZoneInfo
    """The workshop's clock: eight in the morning stays eight when the clocks change."""

    def text(self, value: str) -> str:
        """Return a text with every date in it moved."""
        if "-" not in value:
            return value
        return _BATCH.sub(self._batch, _DATED.sub(self._dated, value))

    def moment(self, at: datetime) -> datetime:
        """Return the moment moved. Never turns the order of two moments of the day round."""
        local = at.astimezone(self.zone).replace(tzinfo=None)
        year, month = self._month(local.year, local.month)
        here, there = monthrange(local.year, local.month)[1], monthrange(year, month)[1]
        day = local.day
        within = timedelta(hours=local.hour, minutes=local.minute, seconds=local.second)
        within += timedelta(microseconds=local.microsecond)
        if day >= there < here:
            # Days that the shorter month does not have pass within its last one.
            within = (within + timedelta(days=day - there)) / (here - there + 1)
            day = there
        return (datetime(year, month, day, tzinfo=self.zone) + within).astimezone(UTC)

    def _month(self, year: int, month: int) -> tuple[int, int]:
        moved = 12 * (self.wanted.year - self.recorded.year)
        moved += self.wanted.number - self.recorded.number
        index = year * 12 + month - 1 + moved
        return index // 12, index % 12 + 1

    def _dated(self, found: re.Match[str]) -> str:
        year, month, day, gap, clock = found.groups()
        if clock:
            return _written(self, f"{year}-{month}-{day}T{clock}", gap)
        to_year, to_month = self._month(int(year), int(month))
        if not day:
            return f"{to_year}-{to_month:02}"
        last = monthrange(to_year, to_month)[1]
        return f"{to_year}-{to_month:02}-{min(int(day), last):02}"

    def _batch(self, found: re.Match[str]) -> str:
        letters, year, month = found.groups()
        to_year, to_month = self._month(2000 + int(year), int(month))
        return f"{letters}-{to_year % 100:02}{to_month:02}"


# One moment stands in several rows of one deed.
@lru_cache(maxsize=256)
def _written(shift: Shift, moment: str, gap: str) -> str:
    at = shift.moment(datetime.fromisoformat(moment).replace(tzinfo=UTC))
    return at.replace(tzinfo=None).isoformat(gap)

"""Which process is killed when: drawn from a seed, so that a run can be told again."""

from __future__ import annotations

import random
import threading
import time
from dataclasses import dataclass

from tests.service.faults.clients import Notebook
from tests.service.faults.house import House

# How often each comes, of a hundred. A process of many is killed more often than the whole of it,
# for that is what a machine out of memory does.
WEIGHTS = {
    "a web process": 20,
    "all web processes": 7,
    "a letters process": 9,
    "the letters worker": 6,
    "a documents process": 12,
    "the documents worker": 5,
    "beat": 5,
    "Redis": 12,
    "a database process": 12,
    "the database": 8,
    "Redis wiped": 3,
    "disk full": 1,
}
_OF = {
    "a web process": "web",
    "all web processes": "web",
    "a letters process": "letters",
    "the letters worker": "letters",
    "a documents process": "documents",
    "the documents worker": "documents",
    "beat": "beat",
    "Redis": "redis",
    "a database process": "database",
    "the database": "database",
}
RECOVERY_S = 30.0
NO_KILLS = ("Redis wiped", "disk full")


@dataclass(frozen=True)
class Fault:
    kind: str
    at: float


class Shaker(threading.Thread):
    """Makes faults until the time is up, or so many kills are done."""

    def __init__(
        self,
        house: House,
        book: Notebook,
        seed: int,
        *,
        seconds: float,
        kills: int,
        every_s: float,
    ) -> None:
        super().__init__(daemon=True)
        self.book = book
        self.house = house
        self.draw = random.Random(seed)  # noqa: S311  no secret: to be told again
        self.until = time.monotonic() + seconds
        self.kills_wanted = kills
        self.every_s = every_s
        self.faults: list[Fault] = []

    @property
    def kills(self) -> int:
        return sum(fault.kind not in NO_KILLS for fault in self.faults)

    def run(self) -> None:
        kinds, weights = list(WEIGHTS), list(WEIGHTS.values())
        while time.monotonic() < self.until:
            if self.kills_wanted and self.kills >= self.kills_wanted:
                return
            wait_s = min(self.draw.expovariate(1 / self.every_s), 5 * self.every_s)
            if time.monotonic() + wait_s >= self.until:
                time.sleep(max(0.0, self.until - time.monotonic()))
                return
            time.sleep(wait_s)
            kind = self.draw.choices(kinds, weights)[0]
            # Drawn in any case, so that the same seed tells the same faults.
            pause_s, at = self.draw.uniform(0.1, 1.5), time.monotonic()
            if self._make(kind, pause_s):
                self.faults.append(Fault(kind, at))
                self._let_it_recover(at)

    def _let_it_recover(self, at: float) -> None:
        """Wait for the next write; not for ever, for a fault may also hit a recovery."""
        patience = min(time.monotonic() + self.draw.uniform(1, RECOVERY_S), self.until)
        while time.monotonic() < patience:
            # The last one is enough: they are noted in the order in which they were answered.
            if self.book.written and self.book.written[-1].began > at:
                return
            time.sleep(0.05)

    def _make(self, kind: str, pause_s: float) -> bool:
        if kind == "disk full":
            return self._fill(3 + 4 * pause_s)
        if kind == "Redis wiped":
            try:
                self.house.wipe_redis()
            except Exception:  # noqa: BLE001  it was killed a moment ago: nothing left to wipe
                return False
            return True
        program = self.house.programs[_OF[kind]]
        if not program.is_there():
            return False
        if kind.startswith("a "):
            return program.kill_one(self.draw)
        program.kill(pause_s)
        return True

    def _fill(self, seconds: float) -> bool:
        if not self.house.disk_is_own:
            return False
        ballast = self.house.fill_disk()
        time.sleep(seconds)
        ballast.unlink(missing_ok=True)
        return True

"""Shakes a workshop of its own and prints what was acknowledged, lost, doubled and stuck.

Needs PostgreSQL's and Redis's programs from the distribution; as root also a small disk to fill.
"""

from __future__ import annotations

import argparse
import json
import random
import signal
import statistics
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict
from itertools import count
from pathlib import Path
from typing import Any

from tests.service.faults import clients
from tests.service.faults.clients import Acknowledged, Client, Notebook
from tests.service.faults.house import House
from tests.service.faults.mail import Sink
from tests.service.faults.shaking import WEIGHTS, Fault, Shaker

# A lease of 60 s and a sweep of 5 s, and then the drawing of what was left.
_QUIET_S = 180


def main() -> int:
    asked = _asked()
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="hb-faults-", dir=asked.at) as folder, Sink() as sink:
        house = House(Path(folder), sink.port)
        try:
            house.build()
            told = json.loads(house.python("tests.service.faults.furnish").splitlines()[-1])
            house.start()
            print(f"furnished and started after {time.monotonic() - began:.0f} s", flush=True)
            book, shaker, books = _shake(house, told, asked)
            found = _audited(house, book, sink, books)
            found["ledger"] = house.manage("checkledger").splitlines()
        finally:
            house.stop()
            if asked.keep:
                _keep_logs(house, Path(asked.keep))
    return _report(asked, book, shaker, sink, found)


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.service.faults", description=__doc__)
    parser.add_argument("--seconds", type=float, default=60, help="how long to shake")
    parser.add_argument("--kills", type=int, default=0, help="or until so many kills")
    parser.add_argument("--every", type=float, default=1.5, help="seconds from a recovery on")
    parser.add_argument("--seed", type=int, default=0, help="of the faults and of who does what")
    parser.add_argument("--people", type=int, default=4, help="how many send frames at once")
    parser.add_argument("--at", help="a folder for everything; removed afterwards")
    parser.add_argument("--keep", help="a folder for the processes' logs")
    parser.add_argument("--json", help="a file for all that was found")
    return parser.parse_args()


def _shake(
    house: House, told: dict[str, str], asked: argparse.Namespace
) -> tuple[Notebook, Shaker, clients.Books]:
    book, over = Notebook(), threading.Event()
    anyone = Client(house.port, book, over)
    bea, ben, acke = (Client(house.port, book, over, told[name]) for name in ("bea", "ben", "acke"))
    draws = _draws(asked.seed)
    people: list[clients.Worker] = [
        *(clients.Frames(anyone, next(draws), bea) for _one in range(asked.people)),
        clients.Screws(anyone, next(draws), ben),
        clients.Mill(bea, next(draws), ben),
        clients.Books(acke, next(draws), told["session"]),
    ]
    shaker = Shaker(
        house, book, asked.seed, seconds=asked.seconds, kills=asked.kills, every_s=asked.every
    )
    for thread in (*people, shaker):
        thread.start()
    while shaker.is_alive():
        shaker.join(60)
        print(f"{shaker.kills} kills, {len(book.written)} acknowledged", flush=True)
    over.set()
    for thread in people:
        # Each ends what it has begun, so that nothing is left of which nobody knows the answer.
        thread.join(clients.PATIENCE_S + 60)
        if thread.is_alive():
            book.stuck.append(f"{type(thread).__name__} never ended")
    books = people[-1]
    assert isinstance(books, clients.Books)
    return book, shaker, books


def _draws(seed: int) -> Iterator[random.Random]:
    """A source of chance for each, which another one's pace does not disturb."""
    for number in count(1):
        yield random.Random(seed * 1000 + number)  # noqa: S311  no secret: to be told again


def _ask_anew(found: dict[str, Any], book: Notebook, books: clients.Books) -> bool:
    """Press the button again for each paper that was given up, once; as its page says."""
    anew = {key for key in found["given up"] if key not in book.asked_anew}
    for key in anew:
        book.asked_anew.add(key)
        books.paper(found["given up"][key])
    return bool(anew)


def _audited(house: House, book: Notebook, sink: Sink, books: clients.Books) -> dict[str, Any]:
    """Wait until nothing is owed, as long as it may take, and hold the books against the notes."""
    told = house.base / "told.json"
    until = time.monotonic() + _QUIET_S
    while True:
        facts = {"written": [asdict(one) for one in book.written], "mailed": sink.taken}
        told.write_text(json.dumps(facts))
        found: dict[str, Any] = json.loads(
            house.python("tests.service.faults.audit", str(told)).splitlines()[-1]
        )
        if _ask_anew(found, book, books):
            continue
        if not found["stuck"] or time.monotonic() > until:
            return found
        time.sleep(5)


def _keep_logs(house: House, folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for program in house.programs.values():
        if program.log.exists():
            (folder / program.log.name).write_bytes(program.log.read_bytes())


def _report(
    asked: argparse.Namespace, book: Notebook, shaker: Shaker, sink: Sink, found: dict[str, Any]
) -> int:
    recovered = _recoveries(shaker.faults, book.written, sink)
    kinds = Counter(fault.kind for fault in shaker.faults)
    unclean = [line for line in found["ledger"] if not line.startswith("ok")]
    stuck = [*book.stuck, *found["stuck"]]
    print(f"\nseed {asked.seed}")
    print(f"{'kills':<28}{shaker.kills:>8}")
    for kind in WEIGHTS:
        write, letter = recovered[kind]
        spread = f"{_spread(write, 'write')}   {_spread(letter, 'letter')}"
        print(f"  {kind:<26}{kinds[kind]:>8}   {spread}")
    print(f"{'acknowledged writes':<28}{found['acknowledged']:>8}   {found['by_kind']}")
    print(f"{'letters':<28}{found['letters']['promised']:>8}   {found['letters']}")
    print(f"{'papers asked anew':<28}{len(book.asked_anew):>8}")
    print(f"{'lost':<28}{len(found['lost']):>8}")
    print(f"{'doubled':<28}{len(found['doubled']):>8}")
    print(f"{'stuck':<28}{len(stuck):>8}")
    print(f"{'refused unexpectedly':<28}{len(book.surprises):>8}")
    print(f"{'ledger checks':<28}{len(found['ledger']):>8}   {len(unclean)} of them not ok")
    for name in ("write", "letter"):
        every = [s for pair in recovered.values() for s in pair[name == "letter"]]
        print(f"{'all faults':<28}{'':>8}   {_spread(every, name)}")
    print(f"{'tries that failed':<28}{sum(book.failures.values()):>8}   {book.failures}")
    bad = [*found["lost"], *found["doubled"], *stuck, *book.surprises, *unclean]
    for line in bad[:40]:
        print(f"  {line}")
    if asked.json:
        facts = {"found": found, "stuck": stuck, "surprises": book.surprises, "kinds": kinds}
        Path(asked.json).write_text(json.dumps(facts, indent=1))
    return 1 if bad else 0


def _recoveries(
    faults: list[Fault], written: list[Acknowledged], sink: Sink
) -> dict[str, tuple[list[float], list[float]]]:
    """Seconds from each fault to the next write that was begun after it and acknowledged, and to
    the next letter of a filing that was acknowledged after it."""
    acks = sorted((one.began, one.ended) for one in written)
    first = {}
    for one in sink.taken:
        first.setdefault(one["to"], one["at"])
    letters = sorted(
        (one.ended, first[one.more["email"]]) for one in written if one.more.get("email") in first
    )
    found: dict[str, tuple[list[float], list[float]]] = {kind: ([], []) for kind in WEIGHTS}
    for fault in faults:
        for number, rows in enumerate((acks, letters)):
            later = [ended for began, ended in rows if began >= fault.at]
            if later:
                found[fault.kind][number].append(min(later) - fault.at)
    return found


def _spread(seconds: list[float], name: str) -> str:
    if not seconds:
        return f"next {name} -"
    median, most = statistics.median(seconds), max(seconds)
    return f"next {name} {median:5.1f} s median, {most:5.1f} s at most"


def _end(*_signal: object) -> None:
    """Whoever ends the run wants its processes ended with it."""
    raise KeyboardInterrupt


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, _end)
    sys.exit(main())

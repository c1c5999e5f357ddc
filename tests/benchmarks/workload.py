"""What is measured: bounded counts, each figure with its comparison, the ledger proved in between.

Imported once Django is set up.
"""

from __future__ import annotations

import sys
import threading
import uuid
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.models import Month, Posting
from inventory.months import rules as months
from inventory.months.queries import audit, recovered
from inventory.months.sums.calendar_month import Month as CalendarMonth
from returns.desk.queries.dangling import month_guard
from returns.models import ReturnedFrame
from tests import makers
from tests.benchmarks import books, serving, shelves
from tests.benchmarks.figures import Figure, once_ms, ratio, table, timed_ms

OPEN_MONTH = "2026-10"
FRAMES_A_MONTH = 120
HISTORY_MONTHS = 12
HISTORY_POSTINGS = 100_000
FEW_FRAMES, MANY_FRAMES = 100, 10_000
ROUNDS = 9
FILINGS_A_ROUND = 40
CLIENTS = 4
FILINGS_A_CLIENT = 12
PAGES_A_ROUND = 8
LATER = datetime(2026, 11, 2, 9, tzinfo=UTC)

FILING = {
    "component": "arm_left",
    "defect": "snapped",
    "note": "It fell off the table.",
    "wish": "regrind",
    "name": "Wanda Reed",
    "email": "wanda@example.org",
    "street": "7 Towpath",
    "postal_code": "12345",
    "city": "Saltmarsh",
    "country": "DE",
}


def measure(folder: Path) -> str:
    """Everything, as a Markdown table with the counts above it. Says how far it is on stderr."""
    shop = makers.shop()
    bea, acke = makers.user("bea", "bench"), makers.user("acke", "accountant")
    report = _said(_report(shop))
    with serving.running(folder / "web.log") as port:
        report += _said([_report_page(acke, port, FRAMES_A_MONTH)])
        bench, few = _bench(shop, bea, port)
        report += _said([_report_page(acke, port, FRAMES_A_MONTH + MANY_FRAMES)])
        filing = _said(_filing(shop, port))
    _prove()
    return "\n".join(
        [
            f"\n{Posting.objects.count():,} postings, {Month.objects.count()} closed months, "
            f"{ReturnedFrame.objects.count():,} open frames at the end; "
            f"all {len(audit.CHECKS)} checks of the ledger hold.",
            f"Queries: /bench/ {_queries(bea, '/bench/')} (with few frames {few}); report page "
            f"{_queries(acke, f'/months/{OPEN_MONTH}/report/')}; "
            f"filing {_queries_of_filing(shop)}; bare view {_queries_of_bare(shop)}.\n",
            table([*filing, *bench, *report]),
        ]
    )


def _said(figures: list[Figure]) -> list[Figure]:
    for figure in figures:
        sys.stderr.write(f"{figure.row()}\n")
    return figures


def _prove() -> None:
    wrong = [str(found) for found in audit.check() if not found.ok]
    wrong += [str(reason) for reason in month_guard(OPEN_MONTH)]
    if wrong:
        raise SystemExit("The books that were measured are not true:\n" + "\n".join(wrong))


# The month report.


def _report(shop: makers.Shop) -> list[Figure]:
    books.month(shop, OPEN_MONTH, frames=FRAMES_A_MONTH)
    alone = timed_ms(lambda: recovered.of_month(OPEN_MONTH), ROUNDS)
    closes = _history(shop)
    after = timed_ms(lambda: recovered.of_month(OPEN_MONTH), ROUNDS)
    proof = once_ms(_prove)
    few = Figure("month figures, no history", alone, "ms")
    many = Figure(f"month figures, {HISTORY_POSTINGS:,} postings before", after, "ms")
    return [
        few,
        many,
        ratio("month figures: with history / without", many, few),
        Figure(f"closing a month of {HISTORY_POSTINGS // HISTORY_MONTHS:,} postings", closes, "ms"),
        Figure("checkledger over all of it", (proof,), "ms"),
    ]


def _history(shop: makers.Shop) -> tuple[float, ...]:
    """Twelve months before the open one, written in bulk and closed by the rule, in order."""
    labels = [CalendarMonth.parse(OPEN_MONTH).previous()]
    while len(labels) < HISTORY_MONTHS:
        labels.insert(0, labels[0].previous())
    frames = -(-HISTORY_POSTINGS // HISTORY_MONTHS // books.POSTINGS_PER_FRAME)
    written = sum(books.month(shop, str(label), frames=frames) for label in labels)
    if written < HISTORY_POSTINGS:
        raise SystemExit(f"Only {written} postings were written.")
    return tuple(once_ms(lambda label=label: _close(str(label))) for label in labels)


def _close(label: str) -> None:
    months.close(key=uuid.uuid4(), label=label, at=LATER, by=None)


def _report_page(acke: User, port: int, frames: int) -> Figure:
    line = _signed_in(acke, port)
    path = f"/months/{OPEN_MONTH}/report/"
    return Figure(f"report page of a month of {frames:,} frames", _pages(line, path), "ms")


# The bench.


def _bench(shop: makers.Shop, bea: User, port: int) -> tuple[list[Figure], int]:
    """The page's figures, and how many queries it took with few frames."""
    line = _signed_in(bea, port)
    shelves.fill(shop, bea, FEW_FRAMES)
    queries = _queries(bea, "/bench/")
    few = Figure(f"/bench/ with {FEW_FRAMES} open frames", _pages(line, "/bench/"), "ms")
    shelves.fill(shop, bea, MANY_FRAMES - FEW_FRAMES)
    many = Figure(f"/bench/ with {MANY_FRAMES:,} open frames", _pages(line, "/bench/"), "ms")
    last = _pages(line, "/bench/?page=999999")
    figures = [
        few,
        many,
        ratio(f"/bench/: {MANY_FRAMES:,} / {FEW_FRAMES} frames", many, few),
        Figure("/bench/, last page of the queue", last, "ms"),
    ]
    return _said(figures), queries


def _signed_in(person: User, port: int) -> serving.Line:
    client = Client(SERVER_NAME="127.0.0.1")
    client.force_login(person)
    return serving.Line(port, {"Cookie": f"sessionid={client.cookies['sessionid'].value}"})


def _pages(line: serving.Line, path: str) -> tuple[float, ...]:
    """Mean milliseconds of a page, one value a round."""

    def some() -> None:
        for _ in range(PAGES_A_ROUND):
            line.get(path)

    line.fresh()
    return tuple(ms / PAGES_A_ROUND for ms in timed_ms(some, ROUNDS))


# Filing.


def _filing(shop: makers.Shop, port: int) -> list[Figure]:
    line = serving.Line(port)
    rounds = [_round(shop, line, number) for number in range(ROUNDS + 1)][1:]
    filed = Figure("filing through the API, one client", tuple(r[0] for r in rounds), "ms")
    bare = Figure("bare two-insert view, one client", tuple(r[1] for r in rounds), "ms")
    crowds = [_crowd(shop, port, number) for number in range(ROUNDS + 1)][1:]
    many = Figure(f"filing, {CLIENTS} clients at once", tuple(c[0] for c in crowds), "ms")
    plain = Figure(f"bare view, {CLIENTS} clients at once", tuple(c[1] for c in crowds), "ms")
    return [
        filed,
        bare,
        ratio("filing / bare view, one client", filed, bare),
        many,
        plain,
        ratio(f"filing / bare view, {CLIENTS} clients", many, plain),
    ]


def _round(shop: makers.Shop, line: serving.Line, number: int) -> tuple[float, float]:
    """Mean milliseconds of a filing and of a bare one, taken in turns."""
    filed = bare = 0.0
    for _ in range(FILINGS_A_ROUND):
        filed += once_ms(lambda: _file(shop, line, number))
        bare += once_ms(lambda: _file_bare(shop, line))
    return filed / FILINGS_A_ROUND, bare / FILINGS_A_ROUND


def _crowd(shop: makers.Shop, port: int, number: int) -> tuple[float, float]:
    """Milliseconds of wall clock for each of what all clients did together."""

    def filing(line: serving.Line, client: int) -> None:
        _file(shop, line, 100 + CLIENTS * number + client)

    def bare(line: serving.Line, client: int) -> None:
        del client
        _file_bare(shop, line)

    done = CLIENTS * FILINGS_A_CLIENT
    return _together(port, filing) / done, _together(port, bare) / done


def _together(port: int, work: Callable[[serving.Line, int], None]) -> float:
    lines = [serving.Line(port) for _ in range(CLIENTS)]
    failed: list[str] = []

    def one(client: int) -> None:
        try:
            for _ in range(FILINGS_A_CLIENT):
                work(lines[client], client)
        except SystemExit as error:
            failed.append(str(error))

    def all_of_them() -> None:
        threads = [threading.Thread(target=one, args=(client,)) for client in range(CLIENTS)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

    taken = once_ms(all_of_them)
    if failed:
        raise SystemExit(failed[0])
    return taken


def _file(shop: makers.Shop, line: serving.Line, sender: int) -> None:
    """Each round files from an address of its own, so that the hourly limit stays in force."""
    line.post("/api/send-backs/", _body(shop), **_headers(sender))


def _file_bare(shop: makers.Shop, line: serving.Line) -> None:
    line.post("/bare/", FILING | {"colourway": shop.avocet_slate.pk})


def _body(shop: makers.Shop) -> dict[str, Any]:
    return FILING | {"colourway": "avocet/slate", "notice": "1"}


def _headers(sender: int) -> dict[str, str]:
    return {"Idempotency-Key": str(uuid.uuid4()), "X-Forwarded-For": f"127.1.0.{sender}"}


# Questions to the database, counted in this process.


def _queries(person: User, path: str) -> int:
    client = Client(SERVER_NAME="127.0.0.1")
    client.force_login(person)
    client.get(path)
    with CaptureQueriesContext(connection) as asked:
        if client.get(path).status_code != 200:
            raise SystemExit(f"{path} did not open.")
    return len(asked)


def _queries_of_filing(shop: makers.Shop) -> int:
    return _asked("/api/send-backs/", _body(shop), _headers(250))


def _queries_of_bare(shop: makers.Shop) -> int:
    return _asked("/bare/", FILING | {"colourway": shop.avocet_slate.pk}, {})


def _asked(path: str, body: dict[str, Any], headers: dict[str, str]) -> int:
    client = Client(SERVER_NAME="127.0.0.1", headers=headers)
    with CaptureQueriesContext(connection) as asked:
        reply = client.post(path, body, content_type="application/json")
        if reply.status_code != 201:
            raise SystemExit(f"{path}: {reply.status_code} {reply.content[:300]!r}")
    return len(asked)

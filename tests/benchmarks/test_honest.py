"""What is measured is true: the bulk rows pass the ledger's own checks, the bare view is bare."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.models import Event, Movement, OutboxMessage, Posting
from inventory.months import rules as months
from inventory.months.queries import audit, recovered
from returns.bench.queries.queue import step_counts
from returns.desk.queries.dangling import month_guard
from returns.models import Person, Request, ReturnedFrame
from tests.benchmarks import books, shelves, workload
from tests.benchmarks.figures import Figure, ratio, table
from tests.makers import Shop


def wrong() -> list[str]:
    return [str(found) for found in audit.check() if not found.ok]


def test_month_in_bulk_is_a_true_ledger_that_closes(shop: Shop) -> None:
    before = Posting.objects.count()
    written = books.month(shop, "2026-08", frames=3)
    assert written == 3 * books.POSTINGS_PER_FRAME + 5
    assert Posting.objects.count() == before + written
    assert wrong() == []
    months.close(key=uuid.uuid4(), label="2026-08", at=workload.LATER, by=None)
    assert wrong() == []


def test_month_in_bulk_reports_its_frames(shop: Shop) -> None:
    books.month(shop, "2026-10", frames=3)
    report = recovered.of_month("2026-10")
    counted = report.frames.received.quantity, report.frames.reground.quantity
    assert counted == (3, 3)
    assert report.gaps == ()


def test_bulk_rows_in_a_wrong_place_are_found(shop: Shop) -> None:
    """The proof can fail: a posting that its kind may not make is named."""
    books.month(shop, "2026-10", frames=1)
    moved = Movement.objects.get(kind="weigh_in")
    book = books.Book()
    line = Posting.objects.get(movement=moved)
    book.add("issue", [(line.source, line.target, 5)], moved.happened_at)
    book.write()
    assert any("recipes-kept" in found for found in wrong())


def test_open_frames_in_bulk_have_mass_and_reasons(shop: Shop, bea: User) -> None:
    shelves.fill(shop, bea, 13)
    counts = step_counts()
    assert ReturnedFrame.objects.count() == 13
    assert (counts["look"], counts["mend"], counts["held"], counts["strip"]) == (2, 5, 3, 3)
    assert month_guard("2026-10") == []
    assert wrong() == []


def test_bare_view_writes_two_rows_and_no_history(shop: Shop, settings: Any) -> None:
    settings.ROOT_URLCONF = "tests.benchmarks.urls"
    body = workload.FILING | {"colourway": shop.avocet_slate.pk}
    histories = Event.objects.count(), OutboxMessage.objects.count()
    assert Client().post("/bare/", body, content_type="application/json").status_code == 201
    assert (Person.objects.count(), Request.objects.count()) == (1, 1)
    assert (Event.objects.count(), OutboxMessage.objects.count()) == histories


def test_ratio_is_taken_repeat_by_repeat() -> None:
    slow, fast = Figure("a", (2.0, 9.0, 4.0), "ms"), Figure("b", (1.0, 3.0, 4.0), "ms")
    both = ratio("a / b", slow, fast)
    assert both.values == pytest.approx((2.0, 3.0, 1.0))
    assert table([slow, both]).splitlines()[2:] == [
        "| a | 2.0 ms | 4.0 ms | 9.0 ms | 3 |",
        "| a / b | 1.00 times | 2.00 times | 3.00 times | 3 |",
    ]

"""A slip is drawn once for what it says, however often and however fast it is asked for."""

from __future__ import annotations

import threading
import time
from datetime import UTC, datetime
from typing import Any

import pytest
from django.utils import translation

from returns.filing.pages import slip_pdf
from returns.filing.rules import papers
from tests.makers import Shop
from tests.returns.customer_makers import sent_back


class Pen:
    """Draws slowly, and counts how often."""

    def __init__(self) -> None:
        self.times = 0

    def __call__(self, markup: str) -> bytes:
        self.times += 1
        time.sleep(0.1)
        return markup.encode()


def test_twenty_four_that_ask_at_once_get_one_drawing() -> None:
    pen, got = Pen(), []
    asking = [
        threading.Thread(target=lambda: got.append(papers.kept("<p>one</p>", pen)))
        for _one in range(24)
    ]
    for thread in asking:
        thread.start()
    for thread in asking:
        thread.join()
    assert got == [b"<p>one</p>"] * 24
    assert pen.times == 1


def test_what_says_something_else_is_another_paper() -> None:
    pen = Pen()
    for markup in ("<p>one</p>", "<p>two</p>", "<p>one</p>"):
        assert papers.kept(markup, pen) == markup.encode()
    assert pen.times == 2


def test_a_full_disk_keeps_nobody_from_a_slip(monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    assert papers.kept("<p>one</p>", Pen()) == b"<p>one</p>"
    assert papers.store().listdir("")[1] == []


def test_old_papers_are_forgotten_and_made_again() -> None:
    pen = Pen()
    papers.kept("<p>one</p>", pen)
    assert papers.prune(older_than=datetime(2000, 1, 1, tzinfo=UTC)) == 0
    assert papers.prune(older_than=datetime(2100, 1, 1, tzinfo=UTC)) == 1
    papers.kept("<p>one</p>", pen)
    assert pen.times == 2


@pytest.mark.django_db
def test_slip_of_a_request_is_drawn_once_a_language(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    pen = Pen()
    monkeypatch.setattr(slip_pdf, "drawn", pen)
    filed: Any = sent_back(shop)
    for _again in range(3):
        slip_pdf.make(filed, size="a4")
    assert pen.times == 1
    with translation.override("de"):
        slip_pdf.make(filed, size="a4")
    assert pen.times == 2

"""Five closed months of the demo, told once: they keep the books' rules and show their points."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import transaction

from deploy.demo.play import Played, play
from inventory.models import GrindRun, Movement
from inventory.months.queries import audit
from inventory.weighing.queries import reconciled
from inventory.weighing.sums.reconciliation import Verdict
from returns.bench.queries import queue
from returns.figures.repairability import queries as repairability
from returns.models import Parcel, ReturnedFrame, SoldUnits
from returns.salvage.queries import donors as salvage
from returns.story.sums.states import FrameState

pytestmark = [pytest.mark.django_db, pytest.mark.slow, pytest.mark.once]
NOW = datetime(2026, 3, 18, 11, 0, tzinfo=UTC)
CLOSED = ["2025-10", "2025-11", "2025-12", "2026-01", "2026-02"]


@pytest.fixture(scope="module")
def data(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Played]:
    """The story in a transaction that is rolled back after this module."""
    del django_db_setup
    with django_db_blocker.unblock(), transaction.atomic():
        logins = tmp_path_factory.mktemp("demo") / "logins.txt"
        yield play(now=NOW, logins_file=logins, closed_months=len(CLOSED))
        transaction.set_rollback(True)


def test_months_before_the_current_one_are_closed(data: Played) -> None:
    assert data.closed == CLOSED


def test_the_ledger_passes_every_check(data: Played) -> None:
    assert data.movements == Movement.objects.count() > 100
    assert [str(one) for one in audit.check() if not one.ok] == []


def test_sales_are_those_of_the_closed_months(data: Played) -> None:
    sold = SoldUnits.objects.order_by().values_list("month", flat=True).distinct()
    assert sorted(sold) == data.closed


def test_months_close_within_their_uncertainty_but_for_the_wrong_tare(data: Played) -> None:
    verdicts = [reconciled.of_month(label).verdict for label in data.closed]
    assert verdicts == [*[Verdict.CLOSES] * 4, Verdict.DOES_NOT_CLOSE]


def test_the_flake_weighed_with_a_wrong_tare_is_the_first_suspect(data: Played) -> None:
    found = reconciled.of_month(data.closed[-1])
    worst = found.suspects[0]
    assert (worst.kind, worst.to) == ("grind", "lot")
    # What all other weighings say of it is heavier by the bucket, within their uncertainty.
    assert worst.others_mg is not None
    assert abs(worst.others_mg - worst.mass_mg - 96_000) < 5_000
    righted = Movement.objects.get(kind="count_mass", reason__contains="tare")
    assert righted.month == data.closed[-1]


def test_runs_that_needed_an_explanation_are_few(data: Played) -> None:
    runs = GrindRun.objects.filter(state=GrindRun.State.FINISHED)
    assert runs.count() >= 15
    assert runs.exclude(explanation="").count() <= runs.count() / 4


def test_a_newcomer_finds_something_at_every_step_of_the_morning(data: Played) -> None:
    assert data.frames == ReturnedFrame.objects.count()
    counts = queue.step_counts()
    assert counts["parcels"] == Parcel.objects.filter(done_at=None).count() == 3
    assert counts["kits"] >= 3
    assert counts["runs"] == counts["mending"] == 1
    assert ReturnedFrame.objects.filter(state=FrameState.WEIGHED, request=None).exists()


def test_few_frames_are_late(data: Played) -> None:
    open_frames = ReturnedFrame.objects.filter(ended_at=None).exclude(state=FrameState.BOXED)
    assert open_frames.filter(promised_by__lt=NOW.date()).count() <= data.frames / 20


def test_every_model_has_a_repair_profile(data: Played) -> None:
    del data
    found = repairability.profiles()
    assert len(found) == 3
    assert all(one.profile is not None for one in found)


def test_matching_parts_helps_more_frames_than_serving_the_first_to_come(data: Played) -> None:
    """On the last day one frame lacks both arms and two lack one each; one donor has a pair."""
    now = salvage.board()
    assert now.saved > now.in_order > 0
    last = salvage.history(NOW)[-1]
    assert (last.month, last.several > 0, last.contested > 0) == ("2026-03", True, True)
    assert last.gained > 0

"""The yield of single grind runs, and how well each is known."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from django.contrib.auth.models import User

from inventory.ledger.rules import places
from inventory.models import GrindRun, PlaceKind
from returns.figures.circularity.pages import tables
from returns.figures.circularity.queries.circularity import circularity
from returns.figures.circularity.queries.grind_yields import grind_yields
from returns.figures.span.queries import Scope, Span
from returns.models import ReturnedFrame
from tests.makers import Shop
from tests.returns import owner_makers as made

pytestmark = pytest.mark.django_db

OCTOBER = Span.parse("2026-10", "2026-10")


def test_a_yield_is_as_well_known_as_box_and_flake(shop: Shop, bea: User, ben: User) -> None:
    """By hand, our own case: the fine scale (d = 1 mg, e = 10 mg, class II) knows a reading up to
    50 g to 0.408 mg of its own (d over the root of 6) and 5.774 mg that all its readings share
    (10 mg over the root of 3). Two frames at the box: own 0.408 * 1.4142 = 0.5774, shared 11.548.
    y = 38 / 38.8 = 0.979381. Own: hypot(0.408, y * 0.5774) / 38 800 = 0.000017975. Shared, with
    its sign: (5.774 - y * 11.548) / 38 800 = -0.000142678. U = 2 * hypot = 0.000287611."""
    for _ in range(2):
        made.boxed(shop)
    made.ground(shop, bea, ben, flake_mg=38_000)
    (run,) = grind_yields(OCTOBER).runs
    assert (run.ground_mg, run.flake_mg) == (38_800, 38_000)
    assert run.expanded == pytest.approx(0.000287611, rel=1e-5)
    assert run.ground_known.expanded_ug == pytest.approx(2 * (577.4**2 + 11_548**2) ** 0.5, abs=1)
    assert run.flake_known.readings == 1


def test_the_yield_of_all_runs_is_as_well_known_as_that_of_the_only_one(
    shop: Shop, bea: User, ben: User
) -> None:
    frames = [made.boxed(shop) for _ in range(2)]
    run = made.ground(shop, bea, ben, flake_mg=38_000)
    tags = [frame.tag for frame in frames]
    ReturnedFrame.objects.filter(tag__in=tags).update(state="ground", lot=run.lot)
    (row,) = grind_yields(OCTOBER).runs
    share = circularity(OCTOBER, Scope()).recovery_yield.share
    assert share is not None
    assert (share.share, share.evidence) == (row.share, 1)
    assert share.high - share.share == pytest.approx(row.expanded, rel=1e-4)


def test_a_yield_of_a_box_that_was_not_weighed_has_no_range(
    shop: Shop, bea: User, ben: User
) -> None:
    box = places.box(polymer=shop.pp, colour=shop.slate, origin="post_consumer_return")
    made.move("opening", [(places.mass(PlaceKind.UNEXPLAINED), box, 20_000, None)])
    made.ground(shop, bea, ben, flake_mg=19_000)
    (run,) = grind_yields(OCTOBER).runs
    assert (run.share, run.expanded) == (0.95, None)
    assert (run.ground_known.booked_mg, run.flake_known.booked_mg) == (20_000, 0)


def test_runs_take_a_fixed_number_of_questions(
    shop: Shop, bea: User, ben: User, django_assert_num_queries: Any
) -> None:
    # Runs; snapshot; places of the postings, the places, postings, readings, strip-downs and
    # what they left, runs of the postings.
    for _ in range(3):
        made.boxed(shop)
        made.ground(shop, bea, ben, flake_mg=19_000)
        with django_assert_num_queries(9):
            grind_yields(OCTOBER)


def test_a_run_is_listed_under_its_day_on_the_workshops_clock(
    shop: Shop, bea: User, ben: User
) -> None:
    made.boxed(shop)
    made.ground(shop, bea, ben, flake_mg=19_000)
    GrindRun.objects.update(finished_at=datetime(2026, 9, 30, 22, 30, tzinfo=UTC))
    (row,) = tables.yields(grind_yields(OCTOBER)).rows
    assert (row[1].raw, row[1].text) == ("2026-10-01", "1 Oct 2026")

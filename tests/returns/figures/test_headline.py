"""The owner's first page begins with six figures, each with what to do; and batches compared."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.months.sums.calendar_month import Month
from returns.figures.circularity.pages.tiles import tiles
from returns.figures.circularity.queries.headline import Figure, Headline, before
from returns.figures.design.queries import feedback
from returns.figures.design.sums import SIGNIFICANCE
from returns.figures.span.queries import Span
from returns.models import ProductionBatch
from tests.makers import NOON, Shop
from tests.returns import owner_makers as made

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("still_clock")]

NOW = datetime(2026, 10, 20, 9, 0, tzinfo=UTC)
NOTHING = Headline(
    promise=None, repair=None, recovered_mg=None, moulded=None, flake_weeks=None, cost_minor=None
)


def test_span_before_is_as_long_and_ends_where_the_other_begins() -> None:
    assert before(Span.parse("2026-04", "2026-09")) == Span.parse("2025-10", "2026-03")


def test_a_change_within_the_ranges_is_none_and_beyond_them_good_or_bad(shop: Shop) -> None:
    now = Headline(
        promise=Figure(0.9, 0.85, 0.95),
        repair=Figure(0.5, 0.4, 0.6),
        recovered_mg=None,
        moulded=None,
        flake_weeks=None,
        cost_minor=Figure(1_200, 1_100, 1_300),
    )
    then = Headline(
        promise=Figure(0.7, 0.6, 0.8),
        repair=Figure(0.55, 0.45, 0.65),
        recovered_mg=None,
        moulded=None,
        flake_weeks=None,
        cost_minor=Figure(900, 800, 1_000),
    )
    promise, repair, recovered, _moulded, _flake, cost = tiles(now, then, late=0)
    assert (promise.trend, promise.better) == ("up from 70.0\u00a0%", True)
    assert repair.better is None
    assert "no clear change" in repair.trend
    assert (recovered.value, recovered.trend) == ("–", "")
    assert cost.better is False
    assert [tile.better for tile in tiles(now, None, late=0)] == [None] * 6


def test_page_begins_with_six_figures_and_each_leads_to_where_it_is_done(
    client: Client, olga: User, shop: Shop
) -> None:
    made.sold(shop.batch, m2026_02=40)
    made.graded(made.posted(shop), olga, ("arm_left", "snapped"))
    client.force_login(olga)
    page = client.get("/owner/").content.decode()
    tiles_shown = re.findall(r'<div class="tile">.*?</div>', page, re.S)
    assert len(tiles_shown) == 6
    for shown in tiles_shown:
        address = re.search(r'href="([^"]+)"', shown)
        assert address is not None
        assert client.get(address.group(1)).status_code == 200, address.group(1)
    assert page.index('class="tiles"') < page.index("Are we keeping our promise?")
    assert client.get("/owner/design/").status_code == 200


def test_late_frames_come_before_any_other_advice(shop: Shop) -> None:
    assert tiles(NOTHING, None, late=2)[0].address == "/bench/"
    assert tiles(NOTHING, None, late=0)[0].address == "/owner/what-if/"


def test_a_batch_that_breaks_sooner_is_marked_with_what_it_cost(shop: Shop, olga: User) -> None:
    """Two batches of 200, sold in February. Of one 45 arms snap by September, of the other 5: about
    ten times as often. 40 or so more than the other would have had."""
    weak = ProductionBatch.objects.create(
        code="AV-WEAK",
        colourway=shop.batch.colourway,
        made_on=shop.batch.made_on,
        pieces=300,
        heat=shop.batch.heat,
    )
    for batch, failures in ((shop.batch, 5), (weak, 45)):
        made.sold(batch, m2026_02=200)
        for number in range(failures):
            at = datetime(2026, 4 + number % 6, 10, 12, tzinfo=UTC)
            frame = made.frame(shop, at=at, batch=batch)
            made.graded(frame, olga, ("arm_left", "snapped"), at=NOON)
    (model,) = feedback(Month(2026, 9))
    first = model.rows[0]
    assert (first.batch, first.is_marked) == ("AV-WEAK", True)
    assert first.ratio is not None
    assert first.low is not None
    assert first.ratio > first.low > 1
    assert 35 < first.excess < 45
    assert first.p_value is not None
    assert first.p_value < SIGNIFICANCE
    assert model.by_component == {"arm_left": 50}

"""What may be claimed is only what the books can show, and not what was typed or chosen to fit.

ISO 14021:2016 (7.8, recycled content) and Directive (EU) 2024/825 second-hand; the least period and
counts are the workshop's own choice.
"""

from __future__ import annotations

from datetime import UTC, datetime
from fractions import Fraction

import pytest
from django.contrib.auth.models import User

from inventory.ledger.rules import places
from inventory.models import Lot, Origin, PlaceKind
from inventory.months.sums.calendar_month import Month
from returns.figures.circularity.queries import untraced
from returns.figures.circularity.queries.circularity import Circularity, circularity
from returns.figures.claims.queries import claims_sheet
from returns.figures.claims.queries.claims_sheet import Line
from returns.figures.span.queries import Scope, Span
from returns.models import ProductionBatch
from tests.makers import Shop
from tests.returns import owner_makers as made

pytestmark = pytest.mark.django_db

YEAR = Span(Month(2025, 11), Month(2026, 10))


def figures(span: Span = YEAR) -> Circularity:
    return circularity(span, Scope())


def line(key: str, span: Span = YEAR) -> Line:
    return next(one for one in claims_sheet.sheet(figures(span)) if one.key == key)


def returned(shop: Shop, mass_mg: int) -> None:
    """What stripping put into a box is ground to a lot, and issued."""
    box = places.box(polymer=shop.pp, colour=shop.slate, origin=Origin.RETURN)
    reading = made.read(shop.fine_scale, mass_mg, made.NOON)
    made.frame(shop)
    made.move("strip_down", [(made.shelf(), box, mass_mg, reading)], subject="F-OF-FRAMES")
    place = made.lot(shop, "post_consumer_return", 1)
    made.move("grind", [(box, place, mass_mg, reading)], subject="G-OF-FRAMES")
    press = places.mass(PlaceKind.PRESS)
    made.move("issue", [(place, press, mass_mg, reading)], subject="AV-2601")


def test_stock_typed_in_at_the_beginning_came_from_nobodys_frames(shop: Shop) -> None:
    # `issued` takes from a lot that was entered as opening stock "of returns".
    made.issued(shop, "post_consumer_return", 5_000, scale=shop.fine_scale)
    for _ in range(2):
        made.issued(shop, "virgin", 2_500, scale=shop.fine_scale)
    share = figures().closed_loop_traced.share
    assert share is not None
    assert share.share == 0
    assert "all or nothing" in line("closed_loop_share").refused


def test_what_frames_brought_counts_and_the_opening_stock_beside_it_does_not(shop: Shop) -> None:
    returned(shop, 6_000)
    made.issued(shop, "post_consumer_return", 4_000, scale=shop.fine_scale)
    share = figures().closed_loop_traced.share
    assert share is not None
    # The lot of frames began with 1 mg of opening stock: that much of it is unknown, rounded up.
    assert share.share == pytest.approx(0.6, abs=0.0002)
    assert share.share <= Fraction(6, 10)


def test_a_box_shares_its_opening_stock_out_by_mass(shop: Shop) -> None:
    box = places.box(polymer=shop.pp, colour=shop.slate, origin=Origin.RETURN)
    unknown = places.mass(PlaceKind.UNEXPLAINED)
    made.move("opening", [(unknown, box, 3_000, None)])
    made.frame(shop)
    made.move("strip_down", [(made.shelf(), box, 1_000, None)], subject="F-OF-FRAMES")
    place = places.of_lot(
        Lot.objects.create(
            code="L-OF-BOX",
            polymer=shop.pp,
            colour=shop.slate,
            origin=Origin.RETURN,
            heat=[[2, 1_000_000]],
            made_at=made.NOON,
        )
    )
    made.move("grind", [(box, place, 4_000, None)], subject="G-BOX")
    assert untraced.shares()[place.pk] == Fraction(3, 4)


def test_returns_count_up_to_the_last_month_whose_sales_are_known(shop: Shop) -> None:
    made.sold(shop.batch, m2026_09=100)
    made.frame(shop, at=datetime(2026, 9, 5, 9, 0, tzinfo=UTC))
    made.frame(shop, at=datetime(2026, 10, 5, 9, 0, tzinfo=UTC))
    counts = figures().counts
    assert (counts.came_ever, counts.came_of_sold, counts.sold_until) == (2, 1, "2026-09")
    assert line("take_back_rate").sentence.startswith("All our frames: 1.0 % came back to us")
    assert "up to 2026-09" in line("take_back_rate").sentence


def test_own_rejects_that_were_never_sold_are_no_returns(shop: Shop) -> None:
    made.sold(shop.batch, m2026_09=100, m2026_10=0)
    unsold = ProductionBatch.objects.create(
        code="AV-2611", colourway=shop.avocet_slate, made_on="2026-09-01", pieces=9, heat=[]
    )
    for _ in range(3):
        made.frame(shop, batch=unsold)
    made.frame(shop)
    counts = figures().counts
    assert (counts.came_ever, counts.came_of_sold) == (4, 1)


def test_a_month_that_somebody_chose_is_no_period_of_a_claim(shop: Shop, olga: User) -> None:
    for month in (8, 9, 10):
        at = datetime(2026, month, 5, 9, 0, tzinfo=UTC)
        made.frame(shop, at=at)
    october = Span(Month(2026, 10), Month(2026, 10))
    since_then = Span(Month(2026, 8), Month(2026, 10))
    assert "at least 12 months" in line("repair_share", october).refused
    assert line("repair_share", since_then).refused == ""
    assert line("repair_share").refused == ""


def test_all_or_nothing_is_refused(shop: Shop) -> None:
    for _ in range(3):
        returned(shop, 6_000)
    found = line("recycled_content")
    assert found.sentence == ""
    assert "all or nothing" in found.refused


def test_the_sentence_says_how_much_rests_on_the_word_of_suppliers(shop: Shop) -> None:
    for _ in range(3):
        returned(shop, 6_000)
    made.issued(shop, "virgin", 2_000, scale=shop.fine_scale)
    assert "word of suppliers" not in line("recycled_content").sentence
    # Opening stock called feedstock is of unknown origin; what was bought rests on its seller.
    made.issued(shop, "post_consumer_feedstock", 5_000, scale=shop.fine_scale)
    assert "word of suppliers" not in line("recycled_content").sentence
    place = made.lot(shop, "post_consumer_feedstock", 1)
    seller, press = places.mass(PlaceKind.SELLERS), places.mass(PlaceKind.PRESS)
    reading = made.read(shop.fine_scale, 25_000, made.NOON)
    made.move("receive_feedstock", [(seller, place, 25_000, reading)])
    made.move("issue", [(place, press, 25_000, reading)], subject="AV-2601")
    assert "50.0 % of it on the word of suppliers" in line("recycled_content").sentence

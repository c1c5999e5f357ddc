"""Moulding a batch from issued lots: one more heat pass, evenly blended."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.contrib.auth.models import User

from inventory.errors import BadInput, Conflict
from inventory.ledger.rules import ledger
from inventory.material.rules import material
from inventory.material.sums.heat import HeatSpread
from inventory.models import Lot, Movement, Polymer
from returns.models import ProductionBatch
from returns.moulding import rules as batches
from tests.makers import NOON, Shop, key

pytestmark = pytest.mark.django_db


def lot(shop: Shop, by: User, heat: list[list[int]], **changes: object) -> Lot:
    facts: dict[str, object] = {
        "polymer": shop.pp,
        "colour": shop.slate,
        "origin": "post_consumer_feedstock",
        "heat": HeatSpread.from_list(heat),
    }
    return material.receive_as_lot(
        key=key(),
        material=material.Material(**(facts | changes)),  # type: ignore[arg-type]
        weighing=material.Weighing(scale=shop.box_scale, mass="5 kg"),
        at=NOON,
        by=by,
    )


def issue(shop: Shop, by: User, lots: dict[Lot, str], code: str = "AV-2610") -> Movement:
    return material.issue(
        key=key(),
        lots=lots,
        scanned=[lot.code for lot in lots],
        batch_code=code,
        scale=shop.box_scale,
        at=NOON,
        by=by,
    )


def mould(shop: Shop, by: User, **changes: object) -> ProductionBatch:
    facts: dict[str, object] = {
        "key": key(),
        "colourway": shop.avocet_slate,
        "code": "AV-2610",
        "made_on": date(2026, 10, 14),
        "pieces": 60,
        "at": NOON,
        "by": by,
    }
    return batches.mould(**(facts | changes))  # type: ignore[arg-type]


def test_batch_is_the_blend_of_its_lots_one_pass_on(shop: Shop, bea: User) -> None:
    once, thrice = lot(shop, bea, [[1, 1_000_000]]), lot(shop, bea, [[3, 1_000_000]])
    issue(shop, bea, {once: "1500 g", thrice: "500 g"})
    batch = mould(shop, bea)
    assert batch.heat == [[2, 750_000], [4, 250_000]]
    assert batch.issued_mg == 2_000_000


def test_named_issues_alone_are_taken(shop: Shop, bea: User) -> None:
    one = lot(shop, bea, [[1, 1_000_000]])
    first = issue(shop, bea, {one: "1 kg"})
    issue(shop, bea, {one: "500 g"})
    assert mould(shop, bea, issues=[first]).issued_mg == 1_000_000


def test_reversed_issue_does_not_count(shop: Shop, bea: User) -> None:
    one = lot(shop, bea, [[1, 1_000_000]])
    issue(shop, bea, {one: "1 kg"})
    wrong = issue(shop, bea, {one: "2 kg"})
    ledger.reverse(key=key(), movement=wrong, reason="typed twice", at=NOON)
    assert mould(shop, bea).issued_mg == 1_000_000


def test_batch_for_which_nothing_was_issued_is_refused(shop: Shop, bea: User) -> None:
    issue(shop, bea, {lot(shop, bea, [[1, 1_000_000]]): "1 kg"}, code="AV-2611")
    with pytest.raises(BadInput) as refused:
        mould(shop, bea)
    assert refused.value.field == "code"


def test_lot_of_another_polymer_is_refused(shop: Shop, bea: User) -> None:
    pe = Polymer.objects.create(code="PE", name="Polyethylene")
    issue(shop, bea, {lot(shop, bea, [[1, 1_000_000]], polymer=pe): "1 kg"})
    with pytest.raises(BadInput) as refused:
        mould(shop, bea)
    assert refused.value.field == "colourway"


def test_batch_is_noted_once(shop: Shop, bea: User) -> None:
    issue(shop, bea, {lot(shop, bea, [[1, 1_000_000]]): "1 kg"})
    same = key()
    assert mould(shop, bea, key=same) == mould(shop, bea, key=same)
    with pytest.raises(Conflict):
        mould(shop, bea)


@pytest.mark.parametrize("pieces", [0, -1])
def test_batch_has_pieces(shop: Shop, bea: User, pieces: int) -> None:
    with pytest.raises(BadInput) as refused:
        mould(shop, bea, pieces=pieces)
    assert refused.value.field == "pieces"


@pytest.mark.parametrize(("day", "is_refused"), [(14, False), (15, True)])
def test_a_batch_is_noted_on_its_day_at_the_earliest(
    shop: Shop, bea: User, day: int, is_refused: bool
) -> None:
    """The day is the workshop's: by its clock it is the 14th still, or already."""
    issue(shop, bea, {lot(shop, bea, [[1, 1_000_000]]): "1500 g"})
    late = datetime(2026, 10, 13, 22, 30, tzinfo=UTC)
    if not is_refused:
        assert mould(shop, bea, made_on=date(2026, 10, day), at=late).made_on.day == day
        return
    with pytest.raises(BadInput) as refused:
        mould(shop, bea, made_on=date(2026, 10, day), at=late)
    assert refused.value.field == "made_on"

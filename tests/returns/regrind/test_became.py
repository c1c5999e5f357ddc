"""What a frame became: by the ledger from its credit to the batch."""

from __future__ import annotations

from datetime import date

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.ledger.rules import ledger
from inventory.material.rules import material
from inventory.models import Movement
from inventory.weighing.sums.weighing import expanded
from returns.filing.rules import intake
from returns.models import ReturnedFrame
from returns.moulding import rules as batches
from returns.regrind.queries import became
from returns.regrind.sums import Part
from returns.story.queries import story
from tests import furnished
from tests.makers import NOON, Shop, key
from tests.returns.regrind.test_regrind import boxed, confirmed, finish, now
from tests.returns.workroom_makers import graded

pytestmark = pytest.mark.django_db


@pytest.fixture
@furnished.once
def ground(shop: Shop, bea: User, ben: User) -> ReturnedFrame:
    """One of two frames of 19.4 g each that became 38.5 g of flake."""
    frame, other = boxed(shop, bea), boxed(shop, bea)
    finish(confirmed(other.box, bea, ben), shop, bea, "38.500 g")
    return now(frame)


def issue(frame: ReturnedFrame, shop: Shop, by: User, mass: str, code: str = "AV-9") -> Movement:
    assert frame.lot is not None
    return material.issue(
        key=key(),
        lots={frame.lot: mass},
        scanned=[frame.lot.code],
        batch_code=code,
        scale=shop.fine_scale,
        at=NOON,
        by=by,
    )


def mould(shop: Shop, by: User, code: str = "AV-9") -> None:
    batches.mould(
        key=key(),
        colourway=shop.avocet_slate,
        code=code,
        made_on=date(2026, 10, 14),
        pieces=1,
        at=NOON,
        by=by,
    )


def test_nothing_before_it_is_taken_apart(shop: Shop, bea: User) -> None:
    assert became.of(graded(shop, bea, state="to_strip")) == ()


def test_boxed_frame_has_its_credit_and_the_spread_of_its_reading(shop: Shop, bea: User) -> None:
    (data,) = became.of(boxed(shop, bea))
    reading = Movement.objects.get(kind="strip_down").postings.get(quantity=19_400).reading
    assert reading is not None
    u_mg = (reading.u_own_ug**2 + reading.u_shared_ug**2) ** 0.5 / 1000
    assert data.spread_mg == max(1, round(expanded(u_mg)))
    assert (data.run, data.moulded, data.boxed_at) == (None, (), NOON)


def test_flake_not_yet_issued_waits(ground: ReturnedFrame) -> None:
    (data,) = became.of(ground)
    assert data.run is not None
    assert (data.run.box_mg, data.flake_mg, data.left_mg) == (38_800, 38_500, 38_500)
    assert data.moulded == ()


def test_batch_holds_the_frames_share_of_what_it_took(
    ground: ReturnedFrame, shop: Shop, bea: User
) -> None:
    issue(ground, shop, bea, "20 g")
    wrong = issue(ground, shop, bea, "5 g")
    issue(ground, shop, bea, "10 g")
    ledger.reverse(key=key(), movement=wrong, reason="typed twice", at=NOON)
    (waiting,) = became.of(ground)
    assert [(one.code, one.taken_mg, one.part) for one in waiting.moulded] == [
        ("AV-9", 30_000, None)
    ]
    mould(shop, bea)
    (data,) = became.of(ground)
    assert (data.left_mg, data.first_moulded_on) == (8_500, date(2026, 10, 14))
    # Half of what was ground is this frame's, so half of what was taken.
    assert data.moulded[0].part == Part(15_000, 500_000)


def test_the_page_says_each_step_plainly(
    ground: ReturnedFrame, shop: Shop, bea: User, client: Client
) -> None:
    assert ground.request is not None
    assert ground.lot is not None
    address = f"/story/{intake.renewed_secret(ground.request)}/"
    page = client.get(address).content.decode()
    assert "Nothing has been moulded from that lot yet." in page
    assert (
        story.of(ground.request, at=NOON)
        .way.stations[story.of(ground.request, at=NOON).station]
        .key
        == "flake"
    )
    issue(ground, shop, bea, "30 g")
    assert "has not been moulded yet by our books" in client.get(address).content.decode()
    mould(shop, bea)
    page = client.get(address).content.decode()
    for words in (
        "<strong>19.40 g</strong> of clean frame material",
        ground.lot.code,
        "With even mixing 15.00 g of your frame are in it, 50.0 % of its material.",
        "8.50 g of the lot have not been used yet.",
        "Where it stands: <strong>Moulded again</strong>",
    ):
        assert words in page


def test_box_that_waits_says_that_it_is_not_ground_yet(
    shop: Shop, bea: User, client: Client
) -> None:
    frame = boxed(shop, bea)
    assert frame.request is not None
    page = client.get(f"/story/{intake.renewed_secret(frame.request)}/").content.decode()
    assert "Not ground yet." in page

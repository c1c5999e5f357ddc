"""The scan of the right label is the proof; another's is refused and both are named."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User

from inventory.errors import BadInput, SecondPersonNeeded, WrongScan
from inventory.ledger.queries import scanned
from inventory.ledger.rules import places, scans
from inventory.material.rules import grinding, material
from inventory.models import Event, GrindRun, Lot, Place
from tests.inventory.material.test_material import delivery, pots
from tests.makers import NOON, Shop, key, opening

pytestmark = pytest.mark.django_db


@pytest.fixture
def box(shop: Shop) -> Place:
    opening(42_320, shop)
    return Place.objects.get(kind="box")


@pytest.fixture
def other(shop: Shop, bea: User) -> Place:
    """A box of another colour with 5 kg in it."""
    facts = delivery(shop, bea, material=pots(shop, colour=shop.moss))
    material.receive_to_box(**facts)
    return Place.objects.exclude(colour=shop.slate).get(kind="box")


def confirm(run: GrindRun, by: User, label: str) -> GrindRun:
    facts: dict[str, Any] = {"run": run, "seen_mg": run.box_mg, "at": NOON, "by": by}
    return grinding.confirm(key=key(), scanned=label, **facts)


def proposed(box: Place, by: User) -> GrindRun:
    return grinding.propose(key=key(), box=box, at=NOON, by=by)


def test_another_boxs_label_is_refused_and_both_are_named_with_colour_and_mass(
    box: Place, other: Place, bea: User, ben: User
) -> None:
    run = proposed(box, bea)
    with pytest.raises(WrongScan) as refusal:
        confirm(run, ben, other.code)
    for words in ("Moss", "5000.000 g", "Slate", "42.320 g"):
        assert words in refusal.value.message
    assert refusal.value.field == "scanned"
    run.refresh_from_db()
    assert run.state == GrindRun.State.PROPOSED
    assert not Event.objects.filter(name="grinding.confirm").exists()


@pytest.mark.parametrize("shape", ["{}", "  {} ", "https://x.example.org/go/{}/"])
def test_the_boxs_own_label_confirms_typed_or_as_a_link(
    box: Place, bea: User, ben: User, shape: str
) -> None:
    run = confirm(proposed(box, bea), ben, shape.format(box.code.upper()))
    assert (run.state, run.confirmed_by) == (GrindRun.State.CONFIRMED, ben)


def test_nothing_scanned_asks_for_the_label(box: Place, bea: User, ben: User) -> None:
    with pytest.raises(BadInput, match="Scan the label"):
        confirm(proposed(box, bea), ben, " ")


def test_the_proposer_is_refused_whatever_they_scan(box: Place, bea: User) -> None:
    with pytest.raises(SecondPersonNeeded):
        confirm(proposed(box, bea), bea, box.code)


@pytest.mark.parametrize("text", ["F-7KDM-3XQ9", "4006381333931", "box-nothing", "x" * 300])
def test_what_is_no_label_of_a_place_is_named_as_it_was_read(
    box: Place, bea: User, ben: User, text: str
) -> None:
    with pytest.raises(WrongScan, match=text[:40]):
        confirm(proposed(box, bea), ben, text)


def test_a_text_too_long_for_a_label_is_refused(box: Place, bea: User, ben: User) -> None:
    with pytest.raises(BadInput, match="too long"):
        confirm(proposed(box, bea), ben, "x" * 301)


def lot(shop: Shop, by: User) -> Lot:
    made: Lot = material.receive_as_lot(**delivery(shop, by))
    return made


def issue(shop: Shop, by: User, lots: dict[Lot, str], labels: list[str]) -> Any:
    facts = {"key": key(), "batch_code": "AV-1", "scale": shop.box_scale, "at": NOON, "by": by}
    return material.issue(lots=lots, scanned=labels, **facts)  # type: ignore[arg-type]


def test_a_lot_is_issued_only_with_its_own_label(shop: Shop, bea: User) -> None:
    one, two = lot(shop, bea), lot(shop, bea)
    with pytest.raises(WrongScan, match=f"{two.code}.*{one.code}"):
        issue(shop, bea, {one: "1 kg"}, [two.code])
    with pytest.raises(BadInput, match=two.code):
        issue(shop, bea, {one: "1 kg", two: "1 kg"}, [one.code])
    # The label of its place is a label of the lot as well.
    labels = [one.code.lower(), places.of_lot(two).code]
    assert issue(shop, bea, {one: "1 kg", two: "1 kg"}, labels).postings.count() == 2


def test_a_bin_is_known_by_its_label_and_by_its_parts_code(shop: Shop) -> None:
    there = places.bin_of(shop.screw)
    for text in (there.code, shop.screw.code, f"http://x/go/{there.code}/"):
        assert scanned.place(text) == there


@pytest.mark.parametrize("text", ["M14-Screw", "m14-screw", "BIN-M14-SCREW", "bin m14 screw"])
def test_a_part_whose_code_has_capitals_is_found(shop: Shop, text: str) -> None:
    shop.screw.code = "M14-Screw"
    shop.screw.save()
    there = places.bin_of(shop.screw)
    assert scanned.place(text) == there
    assert scanned.part_of(text) == shop.screw


def test_a_scan_where_nothing_is_taken_is_refused_by_name(shop: Shop) -> None:
    with pytest.raises(WrongScan, match=shop.screw.name):
        scans.require([places.bin_of(shop.screw).code], [])

"""Loads of used goods: weighed, taken apart, boxed, picked out, passed on, taken back."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction

from inventory.errors import BadInput, Conflict, StaleState
from inventory.goods import queries, rules
from inventory.goods.rules import Goods, Net, Sorted, TakenOut
from inventory.ledger.rules import places
from inventory.material.rules.material import Weighing
from inventory.models import Colour, GrindRun, Load, LoadEntry, Origin, Place, PlaceKind
from inventory.months.queries import audit, recovered
from tests.inventory.material import test_grinding as grinding_tests
from tests.inventory.material.test_material import held
from tests.makers import NOON, Shop, key

pytestmark = pytest.mark.django_db


def received(shop: Shop, by: User, mass: str = "10 kg", **changes: Any) -> Load:
    goods = {"kind": "plant-pots", "giver_class": "nursery", "way": "given"} | changes
    weighed = Weighing(scale=shop.box_scale, mass=mass)
    return rules.receive(key=key(), goods=Goods(**goods), weighing=weighed, at=NOON, by=by)


def out(shop: Shop, by: User, load: Load, mass: str, **changes: str) -> Load:
    what = TakenOut(**({"stream": "film", "went": "waste"} | changes))
    weighed = Weighing(scale=shop.box_scale, mass=mass)
    return rules.take_out(key=key(), load=load, out=what, weighing=weighed, at=NOON, by=by)


def finished(shop: Shop, by: User, load: Load, mass: str = "8 kg", **changes: Any) -> Load:
    nets = [Net(polymer=shop.pp, colour=shop.slate, mass=mass)]
    done = Sorted(**({"scale": shop.box_scale, "nets": nets} | changes))
    return rules.finish(key=key(), load=load, out=done, at=NOON, by=by)


def box(shop: Shop) -> Place:
    return places.box(polymer=shop.pp, colour=shop.slate, origin=Origin.FEEDSTOCK)


def ground(shop: Shop, box: Place, bea: User, ben: User) -> Place:
    """The place of the lot that a box was ground into, with a little dust."""
    run = grinding_tests.confirmed(box, bea, ben)
    data = grinding_tests.out(shop, "7,950 kg", scale=shop.box_scale)
    lot = grinding_tests.finish(run, data, ben).lot
    assert lot is not None
    return places.of_lot(lot)


def test_every_gram_of_a_load_is_in_a_box_in_a_stream_or_washed_off(shop: Shop, bea: User) -> None:
    load = received(shop, bea, way="sold", cost_minor=350)
    out(shop, bea, load, "700 g", stream="dirt")
    out(shop, bea, load, "200 g", stream="metal", went="sold", note="Ironwork Tern")
    out(shop, bea, load, "300 g", stream="polymer", went="kept", note="PE for Sluice Crates")
    load = finished(shop, bea, load)
    one = queries.standing(load)
    assert (load.state, one.gross_mg, one.boxed_mg) == ("finished", 10_000_000, 8_000_000)
    assert (one.taken_out_mg, one.lost_mg, one.left_mg) == (1_200_000, 800_000, 0)
    assert {kind: held(kind) for kind in (PlaceKind.SORTING, PlaceKind.KEPT, PlaceKind.DIRT)} == {
        PlaceKind.SORTING: 0,
        PlaceKind.KEPT: 300_000,
        PlaceKind.DIRT: 700_000,
    }
    assert (held(PlaceKind.BUYERS), held(PlaceKind.GIVERS)) == (200_000, -10_000_000)
    # The net bears what was paid for the whole.
    assert one.nets[0].posting.movement.cost_minor == 350
    assert all(check.ok for check in audit.check())


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"kind": "moon-rock"}, "kind"),
        ({"giver_class": "neighbour"}, "giver_class"),
        ({"way": "stolen"}, "way"),
        ({"cost_minor": 1}, "cost"),
        ({"way": "sold", "cost_minor": -1}, "cost"),
        ({"mass": "much"}, "mass"),
    ],
)
def test_goods_that_nobody_can_tell_are_refused(
    shop: Shop, bea: User, changes: dict[str, Any], field: str
) -> None:
    with pytest.raises(BadInput) as refused:
        received(shop, bea, **changes)
    assert refused.value.field == field
    assert not Load.objects.exists()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"stream": "gold"}, "stream"),
        ({"went": "away"}, "went"),
        ({"went": "kept"}, "note"),
        ({"note": "n" * 121}, "note"),
    ],
)
def test_a_stream_says_what_it_is_and_where_it_went(
    shop: Shop, bea: User, changes: dict[str, str], field: str
) -> None:
    load = received(shop, bea)
    with pytest.raises(BadInput) as refused:
        out(shop, bea, load, "100 g", **changes)
    assert refused.value.field == field


def test_no_more_is_taken_out_than_is_left_of_this_very_load(shop: Shop, bea: User) -> None:
    received(shop, bea, "15 kg")
    load = received(shop, bea, "1 kg")
    with pytest.raises(BadInput, match="are left"):
        out(shop, bea, load, "1,001 kg")
    load = out(shop, bea, load, "1 kg")
    assert queries.standing(load).left_mg == 0
    # Nothing is left to box, and the load is closed all the same.
    assert finished(shop, bea, load, "").state == "finished"


def test_wet_goods_that_weigh_more_than_went_in_ask_for_a_reason(shop: Shop, bea: User) -> None:
    load = received(shop, bea, "1 kg")
    with pytest.raises(BadInput) as refused:
        finished(shop, bea, load, "1,001 kg")
    assert refused.value.field == "explanation"
    load = finished(shop, bea, load, "1,001 kg", explanation="It rained into the crate.")
    one = queries.standing(load)
    assert (one.lost_mg, one.left_mg, held(PlaceKind.SORTING)) == (-1_000, 0, 0)
    assert held(PlaceKind.UNEXPLAINED) == -1_000


def test_a_sorted_load_is_sorted_once_and_a_repeat_is_answered(shop: Shop, bea: User) -> None:
    load, once = received(shop, bea), key()
    nets = [Net(polymer=shop.pp, colour=shop.slate, mass="8 kg")]
    facts = {"load": load, "out": Sorted(scale=shop.box_scale, nets=nets), "at": NOON, "by": bea}
    rules.finish(key=once, **facts)
    assert rules.finish(key=once, **facts).state == "finished"
    assert held(PlaceKind.BOX) == 8_000_000
    with pytest.raises(StaleState):
        rules.finish(key=key(), **facts)
    with pytest.raises(StaleState):
        out(shop, bea, load, "1 g")


def test_a_box_named_twice_or_too_many_passes_are_refused(shop: Shop, bea: User) -> None:
    load = received(shop, bea)
    twice = [Net(polymer=shop.pp, colour=shop.slate, mass=mass) for mass in ("1 kg", "2 kg")]
    with pytest.raises(BadInput, match="twice"):
        finished(shop, bea, load, nets=twice)
    blend = Colour.objects.create(code="tide", name="Tide", kind="blend", tolerance_ppm=20_000)
    with pytest.raises(BadInput, match="base colour"):
        finished(shop, bea, load, nets=[Net(polymer=shop.pp, colour=blend, mass="1 kg")])
    with pytest.raises(BadInput, match="Heat passes"):
        finished(shop, bea, load, passes=41)


def test_a_wrong_polymer_found_later_goes_the_way_back_with_its_load(
    shop: Shop, bea: User, ben: User
) -> None:
    load = finished(shop, bea, received(shop, bea))
    lot = ground(shop, box(shop), bea, ben)
    facts = {"key": key(), "load": load, "at": NOON, "by": bea}
    pe = TakenOut(stream="polymer", went="kept", note="PE, it floats like PP")
    little = Weighing(scale=shop.box_scale, mass="500 g")
    with pytest.raises(BadInput) as refused:
        rules.pick_out(**facts, place=_other(shop), out=pe, weighing=little)
    assert refused.value.field == "place"
    much = Weighing(scale=shop.box_scale, mass="8,001 kg")
    with pytest.raises(BadInput, match="went there"):
        rules.pick_out(**facts, place=lot, out=pe, weighing=much)
    load = rules.pick_out(**facts, place=lot, out=pe, weighing=little)
    one = queries.standing(load)
    assert [(e.act, e.stream, e.went) for e in one.kept] == [("picked_out", "polymer", "kept")]
    load = rules.pass_on(
        key=key(), load=load, entry=one.kept[0], went="given", note="Sluice Crates", at=NOON, by=bea
    )
    assert (held(PlaceKind.KEPT), held(PlaceKind.TAKERS)) == (0, 500_000)
    with pytest.raises(StaleState):
        rules.pass_on(
            key=key(), load=load, entry=one.kept[0], went="sold", note="again", at=NOON, by=bea
        )
    with pytest.raises(Conflict, match="ground"):
        _undo_all(load, bea)


def _other(shop: Shop) -> Place:
    return places.box(polymer=shop.pp, colour=shop.moss, origin=Origin.FEEDSTOCK)


def _undo_all(load: Load, by: User) -> Load:
    while number := queries.standing(load).last_movement:
        load = rules.undo(key=key(), load=load, number=number, reason="Wrong load.", at=NOON, by=by)
    return load


def test_a_load_is_taken_back_step_by_step_until_nothing_is_left_of_it(
    shop: Shop, bea: User
) -> None:
    load = received(shop, bea)
    load = out(shop, bea, load, "1 kg", went="kept", note="for Tern", stream="polymer")
    load = finished(shop, bea, load)
    first = queries.standing(load).entries[0].posting.movement.number
    with pytest.raises(StaleState):
        rules.undo(key=key(), load=load, number=first, reason="Wrong.", at=NOON, by=bea)
    load = _undo_all(load, bea)
    assert load.state == "void"
    kinds = (PlaceKind.SORTING, PlaceKind.KEPT, PlaceKind.BOX, PlaceKind.GIVERS, PlaceKind.WASHED)
    assert [held(kind) for kind in kinds] == [0] * 5
    assert queries.latest() == []
    report = recovered.of_month("2026-10")
    assert {cell.quantity for row in report.beyond for cell in row.flows.cells.values()} == {0}


def test_the_database_refuses_what_no_load_can_be(shop: Shop, bea: User) -> None:
    load = received(shop, bea)
    for changes in ({"cost_minor": 5}, {"state": "finished"}):
        with transaction.atomic(), pytest.raises(IntegrityError):
            Load.objects.filter(pk=load.pk).update(**changes)
    entry = load.entries.get()
    with transaction.atomic(), pytest.raises(IntegrityError):
        LoadEntry.objects.create(load=load, posting=entry.posting, act="received")
    assert GrindRun.objects.count() == 0


def test_the_report_tells_goods_by_kind_and_giver_and_streams_by_where_they_went(
    shop: Shop, bea: User
) -> None:
    load = received(shop, bea)
    out(shop, bea, load, "1 kg", stream="polymer", went="kept", note="PE for Tern")
    load = finished(shop, bea, out(shop, bea, load, "200 g", stream="film"))
    kept = queries.standing(load).kept[0]
    rules.pass_on(key=key(), load=load, entry=kept, went="sold", note="Tern", at=NOON, by=bea)
    report = recovered.of_month("2026-10")
    told = {
        row.key: {name: cell.quantity for name, cell in row.flows.cells.items()}
        for row in report.beyond
    }
    assert told == {
        "goods.plant-pots.nursery": {
            "goods_in": 10_000_000,
            "boxed": 8_000_000,
            "taken_out": 1_200_000,
            "washed_off": 800_000,
        },
        "outgoing.film": {"went_waste": 200_000},
        "outgoing.polymer": {"went_kept": 0, "went_sold": 1_000_000},
    }
    assert report.gaps == ()
    assert report.total.cell("goods").quantity == 8_000_000
    assert report.total.cell("credited").quantity == 0
    assert report.frames.received.quantity == 0

"""Strip-down: what may be ground, where every gram goes, and what does not add up."""

from __future__ import annotations

from datetime import date

import pytest
from django.contrib.auth.models import User
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pytest_django import DjangoAssertNumQueries

from inventory.errors import BadInput, Conflict, KeyReused, StaleState
from inventory.ledger.rules import places
from inventory.material.queries import boxes
from inventory.material.rules import grinding, material
from inventory.models import Colour, Movement, OutboxMessage, PlaceKind
from inventory.parts import queries as part_stock
from inventory.parts import rules as stock
from returns.arriving.queries.frame_masses import on_bench_mg
from returns.leaving import rules as posting_out
from returns.models import (
    Colourway,
    Dispatch,
    Grading,
    ProductionBatch,
    ReturnedFrame,
    SoldUnits,
)
from returns.regrind.queries import frame_heat
from returns.regrind.rules import stripdown
from returns.regrind.rules.stripdown import Salvaged, StripDown
from returns.story.sums.states import FrameState, RequestState
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import on_shelf
from tests.returns.workroom_makers import graded, held

pytestmark = pytest.mark.django_db


def to_strip(shop: Shop, by: User, **wishes: object) -> ReturnedFrame:
    return graded(shop, by, state="to_strip", **wishes)


def parts(shop: Shop, **changes: object) -> StripDown:
    """19.40 g of frame, 5.20 g of lenses, 0.22 g of screws: 24.82 g."""
    facts: dict[str, object] = {
        "scale": shop.fine_scale,
        "plastic": "19.400 g",
        "lenses": "5.200 g",
        "metal": "220 mg",
    }
    return StripDown(**(facts | changes))  # type: ignore[arg-type]


def strip(frame: ReturnedFrame, data: StripDown, by: User, **changes: object) -> ReturnedFrame:
    facts: dict[str, object] = {"key": key(), "frame": frame, "parts": data, "at": NOON, "by": by}
    return stripdown.strip(**(facts | changes))  # type: ignore[arg-type]


def now(frame: ReturnedFrame) -> ReturnedFrame:
    return ReturnedFrame.objects.get(pk=frame.pk)


def test_every_gram_gets_a_place(shop: Shop, bea: User) -> None:
    frame = strip(to_strip(shop, bea), parts(shop), bea)
    assert frame.state == FrameState.BOXED
    assert frame.boxed_mg == held(PlaceKind.BOX) == 19_400
    assert (held(PlaceKind.LENS), held(PlaceKind.METAL)) == (5_200, 220)
    assert held(PlaceKind.UNEXPLAINED) == held(PlaceKind.ARRIVALS) == on_bench_mg(frame) == 0


def test_box_is_of_the_frames_polymer_and_colour_and_of_returns_only(shop: Shop, bea: User) -> None:
    box = strip(to_strip(shop, bea), parts(shop), bea).box
    assert box is not None
    assert (box.polymer, box.colour) == (shop.pp, shop.slate)
    assert box.origin == "post_consumer_return"


def test_cost_is_strip_labour_and_the_postage_in(shop: Shop, bea: User) -> None:
    strip(to_strip(shop, bea), parts(shop), bea)
    # 4 minutes at 24.00 an hour, and 3.80.
    assert Movement.objects.get(kind="strip_down").cost_minor == 160 + 380


def test_salvaged_parts_go_to_the_bin_with_their_mass(shop: Shop, bea: User) -> None:
    kept = Salvaged(part=shop.arm, pieces=1, mass="4.080 g")
    data = parts(shop, plastic="15.320 g", salvaged=(kept,))
    strip(to_strip(shop, bea), data, bea)
    assert held(PlaceKind.SALVAGE) == 4_080
    assert part_stock.held(shop.arm) == 7


@pytest.mark.parametrize(("pieces", "mass"), [(0, "4 g"), (21, "4 g"), (1, ""), (1, "0")])
def test_bad_salvage_is_named(shop: Shop, bea: User, pieces: int, mass: str) -> None:
    kept = Salvaged(part=shop.arm, pieces=pieces, mass=mass)
    with pytest.raises(BadInput) as refused:
        strip(to_strip(shop, bea), parts(shop, salvaged=(kept,)), bea)
    assert refused.value.field == "salvaged-arm-avocet"


@pytest.mark.parametrize(
    ("plastic", "difference_mg"), [("19.390 g", 10), ("19.410 g", -10), ("19.200 g", 200)]
)
def test_what_does_not_add_up_is_a_count_difference(
    shop: Shop, bea: User, plastic: str, difference_mg: int
) -> None:
    frame = strip(to_strip(shop, bea), parts(shop, plastic=plastic), bea)
    assert held(PlaceKind.UNEXPLAINED) == difference_mg
    assert on_bench_mg(frame) == 0


@pytest.mark.parametrize("plastic", ["19.199 g", "19.601 g"])
def test_gap_over_200_mg_on_the_fine_scale_needs_a_reason(
    shop: Shop, bea: User, plastic: str
) -> None:
    frame = to_strip(shop, bea)
    with pytest.raises(BadInput) as refused:
        strip(frame, parts(shop, plastic=plastic), bea)
    assert refused.value.field == "reason"
    assert (now(frame).state, held(PlaceKind.ARRIVALS)) == (FrameState.TO_STRIP, 24_820)
    strip(frame, parts(shop, plastic=plastic, reason="a nose pad was lost"), bea)
    assert Movement.objects.get(kind="strip_down").reason == "a nose pad was lost"


def test_coarse_scale_allows_five_expanded_uncertainties(shop: Shop, bea: User) -> None:
    # The box scale shows 1 g: its uncertainty lets 600 mg pass that a fine scale would not.
    data = parts(shop, scale=shop.box_scale, plastic="20 g", lenses="5 g", metal="0")
    strip(to_strip(shop, bea), data, bea)
    assert held(PlaceKind.UNEXPLAINED) == -180


def test_lenses_wanted_back_stay_on_the_bench_until_they_are_posted(shop: Shop, bea: User) -> None:
    frame = strip(to_strip(shop, bea, lenses_back=True), parts(shop), bea)
    assert (on_bench_mg(frame), held(PlaceKind.LENS)) == (5_200, 0)
    assert posting_out.lenses_to_post() == [frame]
    dispatch = posting_out.post_lenses(key=key(), frame=frame, scanned=frame.tag, at=NOON, by=bea)
    assert dispatch.kind == Dispatch.Kind.LENSES
    assert (on_bench_mg(frame), posting_out.lenses_to_post()) == (0, [])
    assert now(frame).state == FrameState.BOXED
    with pytest.raises(StaleState):
        posting_out.post_lenses(key=key(), frame=frame, scanned=frame.tag, at=NOON, by=bea)


@pytest.mark.parametrize("wish", ["", "post_back"])
def test_without_the_recorded_wish_nothing_is_stripped(shop: Shop, bea: User, wish: str) -> None:
    frame = to_strip(shop, bea)
    ReturnedFrame.objects.filter(pk=frame.pk).update(wish=wish)
    with pytest.raises(BadInput):
        strip(frame, parts(shop), bea)
    with pytest.raises(BadInput):
        stripdown.discard_foreign(key=key(), frame=frame, reason="odd", at=NOON, by=bea)


def test_without_a_grading_nothing_is_stripped(shop: Shop, bea: User) -> None:
    frame = to_strip(shop, bea)
    Grading.objects.all().delete()
    with pytest.raises(BadInput):
        strip(frame, parts(shop), bea)


@pytest.mark.parametrize("state", ["weighed", "held", "to_mend", "mending", "to_return", "boxed"])
def test_only_a_frame_that_is_to_be_stripped_is(shop: Shop, bea: User, state: str) -> None:
    frame = to_strip(shop, bea)
    ReturnedFrame.objects.filter(pk=frame.pk).update(state=state)
    with pytest.raises(StaleState):
        strip(frame, parts(shop), bea)


@pytest.mark.parametrize("changes", [{"is_stranger": True}, {"colourway": None}])
def test_what_is_not_surely_ours_never_enters_a_box_and_ends_as_waste(
    shop: Shop, bea: User, changes: dict[str, object]
) -> None:
    frame = to_strip(shop, bea)
    ReturnedFrame.objects.filter(pk=frame.pk).update(**changes)
    with pytest.raises(BadInput):
        strip(frame, parts(shop), bea)
    gone = stripdown.discard_foreign(
        key=key(), frame=frame, reason="acetate by the sink test", at=NOON, by=bea
    )
    assert (gone.state, gone.ended_at) == (FrameState.DISCARDED, NOON)
    assert (held(PlaceKind.FOREIGN), held(PlaceKind.BOX)) == (24_820, 0)
    assert gone.request is not None
    assert gone.request.state == RequestState.SETTLED
    assert OutboxMessage.objects.get(payload__letter="discarded").subject == gone.request.reference


@pytest.mark.parametrize("polymer", ["foreign", "unknown"])
@pytest.mark.parametrize("state", ["to_strip", "held"])
def test_plastic_that_the_look_over_did_not_know_ends_as_waste_too(
    shop: Shop, bea: User, polymer: str, state: str
) -> None:
    frame = to_strip(shop, bea)
    ReturnedFrame.objects.filter(pk=frame.pk).update(state=state)
    Grading.objects.update(sums={"facts": {"polymer": polymer}})
    with pytest.raises((BadInput, StaleState)):
        strip(frame, parts(shop), bea)
    gone = stripdown.discard_foreign(key=key(), frame=frame, reason="odd", at=NOON, by=bea)
    assert (gone.state, held(PlaceKind.FOREIGN)) == (FrameState.DISCARDED, 24_820)


@pytest.mark.parametrize("state", ["held", "weighed", "to_mend", "to_return", "boxed"])
def test_frame_of_our_plastic_is_not_discarded_unless_it_is_to_be_stripped(
    shop: Shop, bea: User, state: str
) -> None:
    frame = to_strip(shop, bea)
    ReturnedFrame.objects.filter(pk=frame.pk).update(state=state)
    with pytest.raises(StaleState):
        stripdown.discard_foreign(key=key(), frame=frame, reason="odd", at=NOON, by=bea)


@pytest.mark.parametrize("reason", ["", "x" * 201])
def test_discarding_needs_a_short_reason(shop: Shop, bea: User, reason: str) -> None:
    with pytest.raises(BadInput) as refused:
        stripdown.discard_foreign(
            key=key(), frame=to_strip(shop, bea), reason=reason, at=NOON, by=bea
        )
    assert refused.value.field == "reason"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"plastic": ""}, "plastic"),
        ({"plastic": "lots"}, "plastic"),
        ({"lenses": "5,2001"}, "lenses"),
        ({"metal": "300 kg"}, "metal"),
    ],
)
def test_bad_mass_is_named(shop: Shop, bea: User, changes: dict[str, object], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        strip(to_strip(shop, bea), parts(shop, **changes), bea)
    assert refused.value.field == field


def test_repeat_strips_once(shop: Shop, bea: User) -> None:
    frame, same = to_strip(shop, bea), key()
    assert strip(frame, parts(shop), bea, key=same) == strip(frame, parts(shop), bea, key=same)
    with pytest.raises(KeyReused):
        strip(frame, parts(shop, metal="210 mg"), bea, key=same)


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.tuples(*[st.integers(1, 30_000)] * 4))
def test_no_gram_is_lost_whatever_the_scale_shows(
    shop: Shop, bea: User, shown_mg: tuple[int, int, int, int]
) -> None:
    before = sum(held(kind) for kind in PlaceKind)
    plastic, lenses, metal, foreign = (f"{mass} mg" for mass in shown_mg)
    frame = to_strip(shop, bea)
    data = StripDown(
        scale=shop.fine_scale,
        plastic=plastic,
        lenses=lenses,
        metal=metal,
        foreign=foreign,
        reason="whatever",
    )
    stripped = strip(frame, data, bea)
    assert stripped.boxed_mg == shown_mg[0]
    assert on_bench_mg(stripped) == 0
    assert sum(held(kind) for kind in PlaceKind) == before == 0


def test_heat_is_that_of_the_known_batch(shop: Shop, bea: User) -> None:
    frame = to_strip(shop, bea)
    batch = ProductionBatch.objects.create(
        code="AV-X",
        colourway=shop.avocet_slate,
        made_on=date(2026, 2, 1),
        pieces=9,
        heat=[[3, 1_000_000]],
    )
    ReturnedFrame.objects.filter(pk=frame.pk).update(batch=batch)
    box = strip(now(frame), parts(shop), bea).box
    assert Movement.objects.get(kind="strip_down").heat == [[3, 1_000_000]]
    assert box is not None
    assert boxes.contents(box).heat_or_least.to_list() == [[3, 1_000_000]]


def sold(shop: Shop, colourway: Colourway, passes: int, pieces: int) -> None:
    batch = ProductionBatch.objects.create(
        code=f"B-{passes}-{pieces}",
        colourway=colourway,
        made_on=date(2026, 2, 1),
        pieces=pieces,
        heat=[[passes, 1_000_000]],
    )
    SoldUnits.objects.create(batch=batch, month="2026-02", pieces=pieces, imported_at=NOON)


def test_heat_of_an_unknown_batch_is_that_of_the_sold_ones(shop: Shop, bea: User) -> None:
    frame = to_strip(shop, bea)
    assert frame_heat.of(frame).to_list() == [[1, 1_000_000]]
    sold(shop, shop.avocet_moss, 7, 10)
    assert frame_heat.of(frame).to_list() == [[7, 1_000_000]]
    sold(shop, shop.avocet_slate, 2, 30)
    sold(shop, shop.avocet_slate, 4, 10)
    assert frame_heat.of(frame).to_list() == [[2, 750_000], [4, 250_000]]
    assert frame_heat.of(on_shelf(shop, bea, colourway=None)).to_list() == [[1, 1_000_000]]


def test_heat_of_many_batches_takes_three_queries(
    shop: Shop, bea: User, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    tag = to_strip(shop, bea).tag
    for passes in (2, 3, 4):
        sold(shop, shop.avocet_slate, passes, 10)
    frame = ReturnedFrame.objects.select_related("colourway").get(tag=tag)
    # The batches with what was sold, the components of their bills, and those that differ.
    with django_assert_num_queries(3):
        frame_heat.of(frame)


def test_colours_have_boxes_of_their_own(shop: Shop, bea: User) -> None:
    strip(to_strip(shop, bea), parts(shop), bea)
    frame = to_strip(shop, bea)
    ReturnedFrame.objects.filter(pk=frame.pk).update(colourway=shop.avocet_moss)
    strip(now(frame), parts(shop), bea)
    for colour in Colour.objects.all():
        box = places.box(polymer=shop.pp, colour=colour, origin="post_consumer_return")
        assert boxes.held_mg(box) == 19_400


def undo(frame: ReturnedFrame, by: User, **changes: object) -> ReturnedFrame:
    facts: dict[str, object] = {
        "key": key(), "frame": frame, "reason": "wrong frame", "at": NOON, "by": by,
    }  # fmt: skip
    return stripdown.undo(**(facts | changes))  # type: ignore[arg-type]


def salvaged(shop: Shop, pieces: int = 1) -> StripDown:
    arms = Salvaged(part=shop.arm, pieces=pieces, mass=f"{pieces * 4.1:.1f} g")
    return parts(shop, plastic=f"{19.4 - pieces * 4.1:.1f} g", salvaged=(arms,))


def test_undone_every_gram_and_piece_is_back_and_it_can_be_stripped_anew(
    shop: Shop, bea: User
) -> None:
    before = part_stock.held(shop.arm)
    frame = strip(to_strip(shop, bea), salvaged(shop), bea)
    back = undo(frame, bea)
    assert (back.state, back.box, back.boxed_mg) == (FrameState.TO_STRIP, None, 0)
    assert on_bench_mg(back) == 24_820
    emptied = (PlaceKind.BOX, PlaceKind.LENS, PlaceKind.METAL, PlaceKind.SALVAGE)
    assert [held(kind) for kind in emptied] == [0, 0, 0, 0]
    assert part_stock.held(shop.arm) == before
    once_more = strip(back, parts(shop), bea)
    assert (once_more.state, held(PlaceKind.BOX)) == (FrameState.BOXED, 19_400)


def test_undone_twice_under_one_key_is_undone_once(shop: Shop, bea: User) -> None:
    frame, own = strip(to_strip(shop, bea), parts(shop), bea), key()
    assert undo(frame, bea, key=own) == undo(frame, bea, key=own)
    assert Movement.objects.exclude(reverses=None).count() == 1
    with pytest.raises(StaleState):
        undo(now(frame), bea)


@pytest.mark.parametrize("reason", ["", " ", "x" * 201])
def test_undoing_needs_a_short_reason(shop: Shop, bea: User, reason: str) -> None:
    frame = strip(to_strip(shop, bea), parts(shop), bea)
    with pytest.raises(BadInput) as refused:
        undo(frame, bea, reason=reason)
    assert refused.value.field == "reason"
    assert now(frame).state == FrameState.BOXED


@pytest.mark.parametrize("state", ["to_strip", "ground", "discarded", "mended"])
def test_only_a_boxed_frame_is_taken_back(shop: Shop, bea: User, state: str) -> None:
    frame = strip(to_strip(shop, bea), parts(shop), bea)
    ReturnedFrame.objects.filter(pk=frame.pk).update(state=state)
    with pytest.raises(StaleState):
        undo(now(frame), bea)
    assert held(PlaceKind.BOX) == 19_400


def refused_words(frame: ReturnedFrame, by: User) -> str:
    """What the refusal says; nothing has moved."""
    before = Movement.objects.count()
    with pytest.raises(Conflict) as refused:
        undo(frame, by)
    assert Movement.objects.count() == before
    assert now(frame).state == FrameState.BOXED
    return refused.value.message


def test_not_undone_once_its_box_was_touched_but_again_when_that_is_undone(
    shop: Shop, bea: User
) -> None:
    first = strip(to_strip(shop, bea), parts(shop), bea)
    second = strip(to_strip(shop, bea), parts(shop), bea)
    assert "filled or emptied since" in refused_words(first, bea)
    undo(second, bea)
    assert undo(first, bea).state == FrameState.TO_STRIP


def test_another_colours_box_does_not_bar_it(shop: Shop, bea: User) -> None:
    frame = strip(to_strip(shop, bea), parts(shop), bea)
    moss = to_strip(shop, bea)
    colourway = Colourway.objects.get(model=shop.avocet, colour=shop.moss)
    ReturnedFrame.objects.filter(pk=moss.pk).update(colourway=colourway)
    strip(now(moss), parts(shop), bea)
    assert undo(frame, bea).state == FrameState.TO_STRIP


def test_not_undone_while_a_run_is_open(shop: Shop, bea: User) -> None:
    frame = strip(to_strip(shop, bea), parts(shop), bea)
    assert frame.box is not None
    run = grinding.propose(key=key(), box=frame.box, at=NOON, by=bea)
    assert "Cancel the run first" in refused_words(frame, bea)
    grinding.cancel(key=key(), run=run, at=NOON, by=bea)
    assert undo(frame, bea).state == FrameState.TO_STRIP


def test_not_undone_once_its_parts_are_promised(shop: Shop, bea: User) -> None:
    frame = strip(to_strip(shop, bea), salvaged(shop), bea)
    free = part_stock.available(shop.arm)
    stock.reserve(part=shop.arm, pieces=free, subject="Q-OTHER", at=NOON)
    assert "Arm, Avocet" in refused_words(frame, bea)
    stock.release(subject="Q-OTHER")
    stock.reserve(part=shop.arm, pieces=free - 1, subject="Q-OTHER", at=NOON)
    assert undo(frame, bea).state == FrameState.TO_STRIP


def test_not_undone_once_its_waste_was_taken_away(shop: Shop, bea: User) -> None:
    frame = strip(to_strip(shop, bea), parts(shop), bea)
    lens = places.mass(PlaceKind.LENS)
    material.dispose(key=key(), place=lens, reason="the carrier", at=NOON, by=bea)
    assert "no longer there" in refused_words(frame, bea)


def test_not_undone_once_its_lenses_are_posted(shop: Shop, bea: User) -> None:
    frame = strip(to_strip(shop, bea, lenses_back=True), parts(shop), bea)
    posting_out.post_lenses(key=key(), frame=frame, scanned=frame.tag, at=NOON, by=bea)
    assert "posting its lenses" in refused_words(frame, bea)

"""Strip-down by material: each component to its own box, and nothing mixed against the table."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.errors import BadInput, Conflict, HingebackError
from inventory.ledger.rules import places
from inventory.material.queries import admitted, boxes
from inventory.models import Colour, GrindRun, Origin, Place, PlaceKind, Posting
from inventory.parts import queries as part_stock
from returns.catalogue import queries as catalogue
from returns.models import FrameHeap, ReturnedFrame
from returns.regrind.queries import became
from returns.regrind.rules import regrind, stripdown
from returns.regrind.rules.stripdown import Heap, Salvaged, StripDown
from returns.story.queries.story import ground_words
from returns.story.sums.states import FrameState
from tests import furnished
from tests.makers import NOON, Shop, key
from tests.returns.material_makers import TwoTone, admit, two_tone
from tests.returns.regrind.test_regrind import confirmed, finish
from tests.returns.workroom_makers import graded

pytestmark = pytest.mark.django_db


@pytest.fixture
@furnished.once
def made(shop: Shop, olga: User) -> TwoTone:
    return two_tone(shop, olga)


def to_strip(shop: Shop, made: TwoTone, by: User) -> ReturnedFrame:
    frame = graded(shop, by, state="to_strip")
    ReturnedFrame.objects.filter(pk=frame.pk).update(colourway=made.way)
    return ReturnedFrame.objects.get(pk=frame.pk)


def own(colour: Colour, mass: str) -> Heap:
    return Heap(of=(colour,), into=colour, mass=mass, field=f"heap-{colour.code}")


def parts(shop: Shop, *heaps: Heap, **changes: Any) -> StripDown:
    facts: dict[str, Any] = {
        "scale": shop.fine_scale,
        "plastic": "11.200 g",
        "lenses": "5.200 g",
        "metal": "220 mg",
        "heaps": heaps,
    }
    return StripDown(**(facts | changes))


def strip(frame: ReturnedFrame, data: StripDown, by: User) -> ReturnedFrame:
    return stripdown.strip(key=key(), frame=frame, parts=data, at=NOON, by=by)


def box_of(shop: Shop, colour: Colour) -> Place:
    return places.box(polymer=shop.pp, colour=colour, origin=Origin.RETURN)


def test_each_material_goes_to_its_own_box(shop: Shop, made: TwoTone, bea: User) -> None:
    frame = strip(to_strip(shop, made, bea), parts(shop, own(shop.moss, "8.200 g")), bea)
    heaps = {heap.box.colour: heap.mass_mg for heap in frame.heaps.all()}
    assert heaps == {made.tideline: 11_200, shop.moss: 8_200}
    assert (frame.state, frame.boxed_mg) == (FrameState.BOXED, 19_400)
    assert frame.box == box_of(shop, made.tideline)
    lines = Posting.objects.filter(movement__kind="strip_down", target__kind=PlaceKind.BOX)
    assert sum(line.quantity for line in lines) == 19_400


def test_what_broke_together_goes_only_where_the_table_allows(
    shop: Shop, made: TwoTone, olga: User, bea: User
) -> None:
    frame = to_strip(shop, made, bea)
    both = (made.tideline, shop.moss)
    for into in (made.tideline, shop.moss, made.dark):
        mixed = Heap(of=both, into=into, mass="19.400 g", field="mixed")
        with pytest.raises(BadInput) as refused:
            strip(frame, parts(shop, mixed, plastic=""), bea)
        assert refused.value.field == "mixed"
    admit(made.dark, olga, *both)
    assert stripdown.mixed_into(made.way) == [made.dark]
    mixed = Heap(of=both, into=made.dark, mass="19.400 g", field="mixed")
    boxed = strip(frame, parts(shop, mixed, plastic=""), bea)
    assert boxed.box == box_of(shop, made.dark)


def test_a_material_that_the_frame_is_not_of_is_refused(
    shop: Shop, made: TwoTone, bea: User
) -> None:
    frame = to_strip(shop, made, bea)
    with pytest.raises(BadInput) as refused:
        strip(frame, parts(shop, own(shop.slate, "8.200 g")), bea)
    assert refused.value.field == "heap-slate"
    assert not FrameHeap.objects.exists()


def test_good_lenses_are_kept_in_the_bin_of_their_tint(
    shop: Shop, made: TwoTone, bea: User
) -> None:
    kept = (Salvaged(part=made.lens, pieces=2, mass="5.200 g"),)
    data = parts(shop, own(shop.moss, "8.200 g"), lenses="", salvaged=kept)
    strip(to_strip(shop, made, bea), data, bea)
    assert part_stock.held(made.lens) == 5


def test_a_frame_is_ground_with_its_last_heap(
    shop: Shop, made: TwoTone, bea: User, ben: User
) -> None:
    frame = strip(to_strip(shop, made, bea), parts(shop, own(shop.moss, "8.200 g")), bea)
    first = finish(confirmed(box_of(shop, shop.moss), bea, ben), shop, bea, "8.100 g")
    frame.refresh_from_db()
    assert frame.state == FrameState.BOXED
    assert frame.heaps.get(box__colour=shop.moss).lot == first.lot
    with pytest.raises(Conflict):
        stripdown.undo(key=key(), frame=frame, reason="wrong", at=NOON, by=bea)
    second = finish(confirmed(box_of(shop, made.tideline), bea, ben), shop, bea, "11.100 g")
    frame.refresh_from_db()
    assert (frame.state, frame.lot) == (FrameState.GROUND, second.lot)
    assert regrind.frames_of(first) == regrind.frames_of(second) == [frame]
    assert second.lot is not None
    assert second.lot.colour == made.tideline
    assert [one.heap.mass_mg for one in became.of(frame)] == [11_200, 8_200]
    assert "Moss" in ground_words(frame)
    assert "Tideline" in ground_words(frame)


def test_undoing_takes_every_heap_back(shop: Shop, made: TwoTone, bea: User) -> None:
    data = parts(shop, own(shop.moss, "8.200 g"))
    frame = strip(to_strip(shop, made, bea), data, bea)
    back = stripdown.undo(key=key(), frame=frame, reason="wrong box", at=NOON, by=bea)
    assert (back.state, back.boxed_mg, back.heaps.count()) == (FrameState.TO_STRIP, 0, 0)
    again = strip(back, data, bea)
    assert again.heaps.count() == 2


def test_the_database_keeps_one_heap_for_a_frame_and_box(
    shop: Shop, made: TwoTone, bea: User
) -> None:
    frame = strip(to_strip(shop, made, bea), parts(shop, own(shop.moss, "8.200 g")), bea)
    for mass_mg, box in ((1, box_of(shop, shop.moss)), (0, box_of(shop, made.dark))):
        with pytest.raises(IntegrityError), transaction.atomic():
            FrameHeap.objects.create(frame=frame, box=box, mass_mg=mass_mg)


def test_the_page_proposes_each_box_and_asks_where_the_mixed_heap_goes(
    shop: Shop, made: TwoTone, olga: User, bea: User, client: Client
) -> None:
    frame = to_strip(shop, made, bea)
    client.force_login(bea)
    address = reverse("strip", args=[frame.tag])
    page = client.get(address).content.decode()
    assert "Tideline (front)" in page
    assert "Moss (left arm, right arm)" in page
    assert "no box takes it: let it be waste" in page
    admit(made.dark, olga, made.tideline, shop.moss)
    typed = {
        "key": str(key()),
        "scale": shop.fine_scale.pk,
        "plastic": "7.200 g",
        "heap-moss": "4.200 g",
        "mixed": "8.000 g",
        "lenses": "5.200 g",
        "metal": "220 mg",
    }
    refused = client.post(address, typed)
    assert refused.status_code == 422
    assert "Choose the box" in refused.content.decode()
    assert client.post(address, typed | {"mixed_into": "slate"}).status_code == 422
    assert client.post(address, typed | {"mixed_into": "peat"}).status_code == 302
    masses = {heap.box.colour.code: heap.mass_mg for heap in FrameHeap.objects.all()}
    assert masses == {"tideline": 7_200, "moss": 4_200, "peat": 8_000}


DEEDS = st.lists(
    st.tuples(
        st.sampled_from(["strip", "undo", "grind", "admit"]),
        st.integers(0, 3),
        st.integers(0, 3),
        st.integers(1, 19_000),
    ),
    min_size=1,
    max_size=8,
)


@settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(deeds=DEEDS)
def test_no_sequence_mixes_against_the_table_loses_a_gram_or_counts_one_twice(
    shop: Shop, made: TwoTone, olga: User, bea: User, ben: User, deeds: list[Any]
) -> None:
    with transaction.atomic():
        colours = [made.tideline, shop.moss, made.dark, shop.slate]
        for name, one, other, mass_mg in deeds:
            _play(shop, made, (olga, bea, ben), name, (colours[one], colours[other], mass_mg))
            _books_hold()
        transaction.set_rollback(True)


def _play(shop: Shop, made: TwoTone, people: tuple[User, ...], name: str, what: Any) -> None:
    olga, bea, ben = people
    one, other, mass_mg = what
    with transaction.atomic():
        try:
            if name == "admit":
                admit(one, olga, other, shop.moss)
            elif name == "grind":
                box = box_of(shop, one)
                held = boxes.contents(box).mass_mg
                if held:
                    finish(confirmed(box, bea, ben), shop, bea, f"{held} mg")
            elif name == "undo":
                frame = ReturnedFrame.objects.filter(state="boxed").last()
                if frame is not None:
                    stripdown.undo(key=key(), frame=frame, reason="wrong", at=NOON, by=bea)
            else:
                mixed = Heap(
                    of=(made.tideline, one), into=other, mass=f"{mass_mg} mg", field="mixed"
                )
                data = parts(shop, mixed, plastic=f"{19_400 - mass_mg} mg")
                frame = to_strip(shop, made, bea)
                strip(frame, data, bea)
                # Only here is it known what lies in the heap; the table is asked as it stands now.
                assert admitted.takes(other, (made.tideline, one))
                assert one in {shop.moss, made.tideline}
        except HingebackError:
            transaction.set_rollback(True)


def _books_hold() -> None:
    """Every heap is in its box or lot by the ledger, and each box holds what its heaps say."""
    told: Counter[Place] = Counter()
    for heap in FrameHeap.objects.filter(lot=None).select_related("box"):
        told[heap.box] += heap.mass_mg
    for box in Place.objects.filter(kind=PlaceKind.BOX, origin=Origin.RETURN):
        assert boxes.contents(box).mass_mg == told[box]
    for run in GrindRun.objects.filter(state=GrindRun.State.FINISHED):
        heaps = FrameHeap.objects.filter(lot=run.lot)
        assert sum(heap.mass_mg for heap in heaps) == run.box_mg
        assert {heap.box for heap in heaps} == {run.box}
    for frame in ReturnedFrame.objects.filter(state__in=["boxed", "ground"]):
        assert frame.boxed_mg == sum(heap.mass_mg for heap in frame.heaps.all())
        postings = Posting.objects.filter(
            movement__subject=frame.tag,
            movement__reverses=None,
            movement__reversed_by=None,
            target__kind=PlaceKind.BOX,
        )
        assert frame.boxed_mg == sum(line.quantity for line in postings)
        assert frame.colourway is not None
        ours = {one.colour for one in catalogue.materials_of(frame.colourway)}
        for heap in frame.heaps.all():
            assert heap.box.colour is not None
            assert not heap.box.colour.is_blend or heap.box.colour in ours

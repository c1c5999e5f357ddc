"""Parts promised ahead: what is lacking, what fits, what the strip-down makes of a promise."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from types import SimpleNamespace
from typing import Any
from unittest.mock import Mock

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, connection, transaction
from django.utils import translation

from inventory.errors import BadInput, Conflict, KeyReused, StaleState
from inventory.models import Event, Movement, Reservation
from inventory.parts import queries as part_stock
from returns.grading.queries.facts import Seen
from returns.grading.rules import lookover
from returns.models import Component, PartPromise, ReturnedFrame
from returns.regrind.rules import stripdown
from returns.salvage import rules as salvaging
from returns.salvage.queries import donors as salvage
from returns.salvage.queries import lacking
from tests import furnished
from tests.makers import NOON, Shop, key, stocked
from tests.returns.salvage_makers import (
    empty_bin,
    giving,
    look_again,
    looked,
    match,
    needing,
    stripped,
)

pytestmark = pytest.mark.django_db
State = PartPromise.State


def approve(by: User, *pair: Any, **changes: Any) -> PartPromise:
    facts: dict[str, Any] = {"key": key(), "match": match(*pair), "at": NOON, "by": by}
    return salvaging.approve(**(facts | changes))


@pytest.fixture
@furnished.once
def pair(shop: Shop, bea: User) -> tuple[ReturnedFrame, ReturnedFrame]:
    """A donor, and a frame that lacks its left arm."""
    empty_bin(shop.arm)
    return giving(shop, bea), needing(shop, bea)


def test_held_frame_lacks_the_arm_that_its_plan_misses(shop: Shop, bea: User, pair: Any) -> None:
    lacks = lacking.shortage().lacks
    assert [(one.frame, one.component, one.part) for one in lacks] == [
        (pair[1], "arm_left", "arm-avocet")
    ]


def test_frame_held_for_another_reason_lacks_nothing(shop: Shop, bea: User) -> None:
    empty_bin(shop.arm)
    frame = giving(shop, bea)
    lookover.overrule(key=key(), frame=frame, outcome="hold", reason="ask", at=NOON, by=bea)
    assert lacking.shortage().lacks == ()


def test_frame_whose_parts_have_come_is_ready_and_lacks_nothing(
    shop: Shop, bea: User, pair: Any
) -> None:
    stocked(shop.arm, 1)
    short = lacking.shortage()
    assert (short.lacks, short.ready) == ((), (pair[1],))


def test_one_piece_in_the_bin_serves_the_earlier_promised_day_only(
    shop: Shop, bea: User, pair: Any
) -> None:
    late = needing(shop, bea)
    ReturnedFrame.objects.filter(pk=late.pk).update(promised_by=NOON + timedelta(days=90))
    stocked(shop.arm, 1)
    assert [one.frame for one in lacking.shortage().lacks] == [late]


def test_frame_to_mend_lacks_its_part_when_a_count_finds_the_bin_empty(
    shop: Shop, bea: User
) -> None:
    frame = needing(shop, bea)
    assert (frame.state, lacking.shortage().lacks) == ("to_mend", ())
    empty_bin(shop.arm)
    assert [one.frame for one in lacking.shortage().lacks] == [frame]


def test_touched_arm_and_wanted_lenses_are_no_gift(shop: Shop, bea: User) -> None:
    Component.objects.filter(key__startswith="lens").update(part=shop.screw)
    donor = giving(shop, bea, Seen("hinge_left", "cracked"))
    ReturnedFrame.objects.filter(pk=donor.pk).update(lenses_back=True)
    keys = {gift.piece.key for gift in lacking.gifts()}
    assert keys == {"arm_right", "screw_left", "screw_right"}


def test_board_matches_and_explains(shop: Shop, bea: User, pair: Any) -> None:
    other = looked(
        shop, bea, Seen("arm_right", "snapped"), Seen("arm_left", "snapped"), colourway=None
    )
    board = salvage.board()
    assert other.state == "held"
    assert [(one.lack.frame, one.gift.donor if one.gift else None) for one in board.pairs] == [
        (pair[1], pair[0])
    ]
    assert (board.saved, board.in_order, board.donors) == (1, 1, 1)


def test_other_colour_fits_a_screw_and_never_an_arm(shop: Shop, bea: User) -> None:
    empty_bin(shop.arm)
    giving(shop, bea, colourway=shop.avocet_moss)
    needing(shop, bea)
    assert [one.reason for one in salvage.board().pairs] == ["no-fitting-part"]
    empty_bin(shop.screw)
    looked(shop, bea, Seen("screw_left", "missing"))
    assert {one.reason for one in salvage.board().pairs} == {"no-fitting-part", "matched"}


def test_frame_that_lacks_two_takes_no_part_from_one_that_can_be_helped(
    shop: Shop, bea: User
) -> None:
    """First come takes nothing it cannot use; the best matching helps the single need."""
    empty_bin(shop.arm)
    giving(shop, bea, Seen("arm_right", "snapped"))
    both = looked(shop, bea, Seen("arm_left", "snapped"), Seen("arm_right", "snapped"))
    one = needing(shop, bea)
    found = {pair.lack.frame: pair.gift is not None for pair in salvage.board().pairs}
    assert found == {both: False, one: True}


def test_approving_moves_nothing_and_notes_it(bea: User, pair: Any) -> None:
    before = Movement.objects.count()
    promise = approve(bea, *pair)
    assert (promise.state, promise.part.code) == (State.OPEN, "arm-avocet")
    assert Movement.objects.count() == before
    assert not Reservation.objects.filter(state="open").exists()
    action = Event.objects.get(name="salvaging.approve")
    assert (action.subject, action.detail["donor"]) == (pair[1].tag, pair[0].tag)


def test_approving_again_with_the_same_key_is_one_promise(bea: User, pair: Any) -> None:
    same = key()
    assert approve(bea, *pair, key=same) == approve(bea, *pair, key=same)
    assert PartPromise.objects.count() == 1
    with pytest.raises(KeyReused):
        approve(bea, *pair, "arm_right", key=same)


def test_promised_part_is_offered_and_promised_no_more(shop: Shop, bea: User, pair: Any) -> None:
    approve(bea, *pair)
    second = needing(shop, bea)
    assert [one.gift for one in salvage.board().pairs] == [None]
    with pytest.raises(Conflict):
        approve(bea, pair[0], second)
    with pytest.raises(Conflict):
        approve(bea, giving(shop, bea), pair[1])


@pytest.mark.parametrize("component", ["arm_right", "front", "lens_left"])
def test_what_the_frame_does_not_lack_is_refused(bea: User, pair: Any, component: str) -> None:
    with pytest.raises(BadInput, match="does not lack"):
        approve(bea, *pair, component)


def test_touched_part_of_the_donor_is_refused(shop: Shop, bea: User, pair: Any) -> None:
    with pytest.raises(BadInput, match="no sound part"):
        approve(bea, giving(shop, bea, Seen("arm_left", "snapped")), pair[1])


def test_part_of_another_colour_is_refused(shop: Shop, bea: User, pair: Any) -> None:
    other = giving(shop, bea, colourway=shop.avocet_moss)
    with pytest.raises(BadInput, match="model or colour"):
        approve(bea, other, pair[1])


def test_donor_that_is_gone_and_frame_that_waits_no_more_are_refused(
    shop: Shop, bea: User, pair: Any
) -> None:
    stripped(shop, pair[0], bea, arms=0)
    with pytest.raises(StaleState):
        approve(bea, *pair)
    with pytest.raises(StaleState):
        approve(bea, giving(shop, bea), giving(shop, bea))


def test_stripping_the_donor_reserves_the_part_and_the_frame_can_be_mended(
    shop: Shop, bea: User, pair: Any
) -> None:
    promise = approve(bea, *pair)
    stripped(shop, pair[0], bea)
    promise.refresh_from_db()
    assert promise.state == State.KEPT
    reservation = Reservation.objects.get(state="open")
    assert (reservation.subject, reservation.pieces) == (pair[1].tag, 1)
    assert (part_stock.held(shop.arm), part_stock.available(shop.arm)) == (1, 0)
    assert lacking.shortage().ready == (pair[1],)
    assert look_again(pair[1], bea, Seen("arm_left", "snapped")).state == "to_mend"
    assert Event.objects.filter(name="salvaging.keep", subject=pair[1].tag).exists()


def test_reserved_part_is_not_dealt_to_a_newcomer(shop: Shop, bea: User, pair: Any) -> None:
    approve(bea, *pair)
    stripped(shop, pair[0], bea)
    assert needing(shop, bea).state == "held"


def test_promise_lapses_when_the_part_was_not_kept(shop: Shop, bea: User, pair: Any) -> None:
    promise = approve(bea, *pair)
    stripped(shop, pair[0], bea, arms=0)
    promise.refresh_from_db()
    assert promise.state == State.LAPSED
    assert [one.frame for one in lacking.shortage().lacks] == [pair[1]]


def test_one_arm_kept_of_two_promised_goes_to_the_earlier_promise(
    shop: Shop, bea: User, pair: Any
) -> None:
    second = needing(shop, bea, "arm_right")
    promises = [approve(bea, *pair), approve(bea, pair[0], second, "arm_right")]
    stripped(shop, pair[0], bea, arms=1)
    states = [PartPromise.objects.get(pk=one.pk).state for one in promises]
    assert states == [State.KEPT, State.LAPSED]


def test_frame_that_lacks_two_arms_gets_both_from_one_donor(shop: Shop, bea: User) -> None:
    empty_bin(shop.arm)
    donor = giving(shop, bea)
    frame = looked(shop, bea, Seen("arm_left", "snapped"), Seen("arm_right", "snapped"))
    approve(bea, donor, frame)
    approve(bea, donor, frame, "arm_right")
    stripped(shop, donor, bea, arms=2)
    assert Reservation.objects.get(state="open").pieces == 2


def test_piece_that_a_count_found_missing_goes_to_the_promise_made_first(
    shop: Shop, bea: User
) -> None:
    first = needing(shop, bea)
    empty_bin(shop.arm)
    donor, frame = giving(shop, bea), needing(shop, bea)
    promise = approve(bea, donor, frame)
    stripped(shop, donor, bea)
    promise.refresh_from_db()
    assert promise.state == State.LAPSED
    assert [one.frame for one in lacking.shortage().lacks] == [frame]
    assert first.state == "to_mend"


def test_promise_to_a_frame_that_went_another_way_lapses(shop: Shop, bea: User, pair: Any) -> None:
    promise = approve(bea, *pair)
    lookover.overrule(
        key=key(), frame=pair[1], outcome="regrind", reason="brittle", at=NOON, by=bea
    )
    assert salvage.promises_of(pair[0]) == []
    stripped(shop, pair[0], bea)
    promise.refresh_from_db()
    assert (promise.state, part_stock.available(shop.arm)) == (State.LAPSED, 1)


def test_dead_promise_does_not_bar_a_new_one(shop: Shop, bea: User, pair: Any) -> None:
    promise = approve(bea, *pair)
    lookover.record_wish(
        key=key(), frame=pair[0], wish="post_back", evidence="phone", at=NOON, by=bea
    )
    approve(bea, giving(shop, bea), pair[1])
    promise.refresh_from_db()
    assert promise.state == State.LAPSED


def test_withdrawn_promise_frees_both(bea: User, pair: Any) -> None:
    approve(bea, *pair)
    same = key()
    facts: dict[str, Any] = {"donor": pair[0], "component": "arm_left", "at": NOON, "by": bea}
    gone = salvaging.withdraw(key=same, **facts)
    assert salvaging.withdraw(key=same, **facts) == gone
    assert gone.state == State.WITHDRAWN
    with pytest.raises(StaleState):
        salvaging.withdraw(key=key(), **facts)
    assert approve(bea, *pair).state == State.OPEN


def promise_row(pair: Any, by: User, part: Any, **changes: Any) -> PartPromise:
    facts = {"key": key(), "donor": pair[0], "component": "arm_left", "frame": pair[1]}
    return PartPromise.objects.create(
        **(facts | {"part": part, "made_at": NOON, "made_by": by} | changes)
    )


def test_database_refuses_to_promise_a_component_twice(shop: Shop, bea: User, pair: Any) -> None:
    promise_row(pair, bea, shop.arm, state="kept", ended_at=NOON)
    second = needing(shop, bea)
    with pytest.raises(IntegrityError, match="donor"), transaction.atomic():
        promise_row((pair[0], second), bea, shop.arm)
    PartPromise.objects.update(state="withdrawn")
    promise_row((pair[0], second), bea, shop.arm)


@pytest.mark.parametrize(
    "wrong",
    [{"state": "open", "ended_at": NOON}, {"state": "kept", "ended_at": None}, {"itself": True}],
)
def test_database_refuses_nonsense(shop: Shop, bea: User, pair: Any, wrong: Any) -> None:
    both = (pair[0], pair[0]) if wrong.pop("itself", False) else pair
    with pytest.raises(IntegrityError), transaction.atomic():
        promise_row(both, bea, shop.arm, **wrong)


def test_queries_do_not_grow_with_the_frames(
    shop: Shop, bea: User, pair: Any, django_assert_num_queries: Any
) -> None:
    for _more in range(3):
        giving(shop, bea)
        needing(shop, bea)
    # frames, gradings, findings, bills, what differs, parts, bins, promised
    with django_assert_num_queries(8):
        assert len(lacking.shortage().lacks) == 4
    # promises, donors, gradings, findings, bills, what differs
    with django_assert_num_queries(6):
        assert len({gift.donor for gift in lacking.gifts()}) == 4


def test_history_replays_the_month_both_ways(shop: Shop, bea: User, pair: Any) -> None:
    stripped(shop, pair[0], bea, arms=0)
    (month,) = salvage.history(NOON + timedelta(days=3))
    assert (month.month, month.frames, month.parts) == ("2026-10", 1, 4)
    assert (month.best, month.in_order, month.gained) == (1, 1, 0)
    assert (month.several, month.contested) == (0, 0)


def test_history_counts_what_two_frames_wanted_at_once(shop: Shop, bea: User, pair: Any) -> None:
    needing(shop, bea)
    stripped(shop, pair[0], bea, arms=0)
    (month,) = salvage.history(NOON + timedelta(days=3))
    assert (month.frames, month.several, month.contested) == (2, 0, 1)


def test_matching_that_takes_too_long_is_refused_in_the_readers_language(
    shop: Shop, bea: User, pair: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked(shop, bea, Seen("arm_left", "snapped"), Seen("arm_right", "snapped"))
    out_of_time = SimpleNamespace(status=1, x=None)
    monkeypatch.setattr("scipy.optimize.milp", Mock(return_value=out_of_time))
    with translation.override("de"), pytest.raises(Conflict, match="keine erwiesen beste"):
        salvage.board()


def test_history_without_a_hold_or_a_strip_is_empty(shop: Shop) -> None:
    assert salvage.history(NOON) == []


def put_together(donor: ReturnedFrame, by: User) -> None:
    facts = {"reason": "wrong frame", "at": NOON + timedelta(minutes=5), "by": by}
    now = ReturnedFrame.objects.get(pk=donor.pk)
    stripdown.undo(key=key(), frame=now, **facts)


def test_promise_that_the_strip_down_ended_holds_again_once_it_is_undone(
    shop: Shop, bea: User, pair: Any
) -> None:
    """And it ends, or is kept, anew when the donor is stripped a second time."""
    promise = approve(bea, *pair)
    stripped(shop, pair[0], bea, arms=0)
    promise.refresh_from_db()
    assert promise.state == State.LAPSED
    put_together(pair[0], bea)
    promise.refresh_from_db()
    assert (promise.state, promise.ended_at) == (State.OPEN, None)
    assert list(lacking.open_promises()) == [promise]
    action = Event.objects.get(name="salvaging.take_up")
    assert (action.subject, action.detail["donor"]) == (pair[1].tag, pair[0].tag)
    stripped(shop, pair[0], bea, arms=0)
    assert Event.objects.filter(name="salvaging.lapse").count() == 2
    put_together(pair[0], bea)
    stripped(shop, pair[0], bea)
    promise.refresh_from_db()
    assert promise.state == State.KEPT


def test_promise_stays_ended_when_another_donor_promised_since(
    shop: Shop, bea: User, pair: Any
) -> None:
    promise = approve(bea, *pair)
    stripped(shop, pair[0], bea, arms=0)
    other = approve(bea, giving(shop, bea), pair[1])
    put_together(pair[0], bea)
    states = {one.pk: one.state for one in PartPromise.objects.all()}
    assert states == {promise.pk: State.LAPSED, other.pk: State.OPEN}
    assert not Event.objects.filter(name="salvaging.take_up").exists()


def test_promise_stays_ended_when_the_part_came_from_elsewhere_or_it_was_withdrawn(
    shop: Shop, bea: User, pair: Any
) -> None:
    promise = approve(bea, *pair)
    stripped(shop, pair[0], bea, arms=0)
    stocked(shop.arm, 1)
    put_together(pair[0], bea)
    promise.refresh_from_db()
    assert promise.state == State.LAPSED
    empty_bin(shop.arm)
    again = approve(bea, *pair)
    facts = {"donor": pair[0], "component": "arm_left", "at": NOON, "by": bea}
    salvaging.withdraw(key=key(), **facts)
    stripped(shop, pair[0], bea, arms=0)
    put_together(pair[0], bea)
    again.refresh_from_db()
    assert again.state == State.WITHDRAWN


@pytest.mark.parametrize("arms", [0, 1])
def test_promise_that_another_hand_turned_since_it_was_read_is_not_turned_over_it(
    shop: Shop, bea: User, pair: Any, arms: int
) -> None:
    """At the strip-down and at its undo alike: nothing of either is left behind."""
    promise = approve(bea, *pair)
    with another_hand_withdraws(promise), pytest.raises(StaleState):
        stripped(shop, pair[0], bea, arms=arms)
    assert ReturnedFrame.objects.get(pk=pair[0].pk).state == "to_strip"
    stripped(shop, pair[0], bea, arms=0)
    with another_hand_withdraws(promise), pytest.raises(StaleState):
        put_together(pair[0], bea)
    assert ReturnedFrame.objects.get(pk=pair[0].pk).state == "boxed"
    assert set(Event.objects.values_list("name", flat=True)).isdisjoint(
        {"salvaging.keep", "salvaging.take_up"}
    )


@contextmanager
def another_hand_withdraws(promise: PartPromise) -> Iterator[None]:
    """Between the reading of the promise and its first change, as another connection would."""
    table, done = PartPromise._meta.db_table, []

    def first(execute: Any, sql: str, *facts: Any) -> Any:
        if sql.startswith(f'UPDATE "{table}"') and not done:
            done.append(sql)
            PartPromise.objects.filter(pk=promise.pk).update(state="withdrawn", ended_at=NOON)
        return execute(sql, *facts)

    with connection.execute_wrapper(first):
        yield
    assert done

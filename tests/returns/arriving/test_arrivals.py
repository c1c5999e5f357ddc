"""Parcels and weigh-ins. The masses are constructed from the made-up bill of materials."""

from __future__ import annotations

from datetime import date, timedelta
from datetime import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from django.contrib.auth.models import User

from inventory.errors import BadInput, KeyReused, StaleState
from inventory.ledger.rules import ledger
from inventory.models import Balance, Event, Movement, OutboxMessage, Reading
from returns.arriving import rules as arriving
from returns.filing.rules import intake
from returns.grading.pages import wording
from returns.models import FrameModel, Parcel, Request, ReturnedFrame
from returns.story.queries import story
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import booked, filed, on_shelf, weighing


def held(code: str) -> int:
    return Balance.objects.get(place__code=code).quantity


def weigh(parcel: Parcel, shop: Shop, by: User, **changes: object) -> ReturnedFrame:
    return arriving.weigh_in(
        key=key(), parcel=parcel, weighing=weighing(shop, **changes), at=NOON, by=by
    )


@pytest.mark.parametrize("state", ["awaited", "withdrawn"])
def test_parcel_with_a_slip_marks_its_request_arrived(shop: Shop, bea: User, state: str) -> None:
    request = filed(shop.avocet_slate, state=state, ended_at=None)
    parcel = booked(bea, request)
    request.refresh_from_db()
    assert (parcel.request, parcel.content, request.state) == (request, "unopened", "arrived")


def test_second_parcel_for_a_request_is_booked_too(shop: Shop, bea: User) -> None:
    request = filed(shop.avocet_slate)
    first, second = booked(bea, request), booked(bea, request)
    assert first.code != second.code
    assert request.parcels.count() == 2


def test_parcel_without_a_slip_has_no_request(db: None, bea: User) -> None:
    assert booked(bea).request is None


def test_parcel_for_spare_screws_is_refused_and_nothing_is_written(shop: Shop, bea: User) -> None:
    request = filed(shop.avocet_slate, kind="spare_screws", state="reserved", wish="")
    with pytest.raises(BadInput) as refused:
        booked(bea, request)
    assert refused.value.field == "request"
    assert not Parcel.objects.exists()


def test_booking_twice_under_one_key_books_once(shop: Shop, bea: User) -> None:
    one = key()
    first = arriving.book(key=one, request=None, at=NOON, by=bea)
    assert arriving.book(key=one, request=None, at=NOON, by=bea) == first
    with pytest.raises(KeyReused):
        arriving.book(key=one, request=filed(shop.avocet_slate), at=NOON, by=bea)


def test_weighed_frame_stands_on_the_arrivals_shelf_with_its_mass(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate, lenses_back=True))
    assert (frame.state, frame.wish, frame.lenses_back) == ("weighed", "regrind", True)
    assert frame.tag.startswith("F-")
    assert held("arrivals") == 24_820
    movement = Movement.objects.get(subject=frame.tag)
    assert (movement.kind, movement.postings.get().reading) == ("weigh_in", frame.reading)
    assert Event.objects.get(name="arrivals.weigh_in").subject == frame.tag


def test_promise_counts_from_the_workshop_day_of_the_weigh_in(shop: Shop, bea: User) -> None:
    """23:30 UTC on 14 October is already the 15th in the workshop's zone (+2 h)."""
    late = dt(2026, 10, 14, 23, 30, tzinfo=ZoneInfo("UTC"))
    frame = arriving.weigh_in(
        key=key(), parcel=booked(bea), weighing=weighing(shop), at=late, by=bea
    )
    assert frame.promised_by == date(2026, 11, 5)


def test_several_frames_of_one_parcel_may_belong_to_different_stories(
    shop: Shop, bea: User
) -> None:
    ours, other = filed(shop.avocet_slate), filed(shop.avocet_moss)
    parcel = booked(bea, ours)
    frames = [
        weigh(parcel, shop, bea, request=ours),
        weigh(parcel, shop, bea, request=other, colourway=shop.avocet_moss),
        weigh(parcel, shop, bea, colourway=None, is_stranger=True),
    ]
    other.refresh_from_db()
    assert other.state == "arrived"
    assert [frame.request for frame in frames] == [ours, other, None]
    assert held("arrivals") == 3 * 24_820


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"cleaned": False}, "cleaned"),
        ({"mass": "0"}, "mass"),
        ({"mass": "a feather"}, "mass"),
        ({"mass": "1,234"}, "mass"),
        ({"is_stranger": True}, "is_stranger"),
        ({"mends_before": -1}, "mends_before"),
        ({"mends_before": 21}, "mends_before"),
    ],
)
def test_bad_weigh_in_names_the_field_and_leaves_nothing(
    shop: Shop, bea: User, changes: dict[str, object], field: str
) -> None:
    """1,234 on a scale up to 210 g in steps of 1 mg is 1.234 g, and 1 234 g is over its Max."""
    if changes == {"mass": "1,234"}:
        shop.fine_scale.capacity_mg = 2_000_000
        shop.fine_scale.save()
    parcel = booked(bea)
    with pytest.raises(BadInput) as refused:
        weigh(parcel, shop, bea, **changes)
    assert refused.value.field == field
    assert not ReturnedFrame.objects.exists()
    assert not Movement.objects.filter(kind="weigh_in").exists()


def test_mends_before_at_its_limit_is_taken(shop: Shop, bea: User) -> None:
    assert on_shelf(shop, bea, mends_before=20).mends_before == 20


def test_batch_of_another_colour_is_refused_and_its_own_names_the_model(
    shop: Shop, bea: User
) -> None:
    parcel = booked(bea)
    with pytest.raises(BadInput) as refused:
        weigh(parcel, shop, bea, colourway=shop.avocet_moss, batch=shop.batch)
    assert refused.value.field == "batch"
    assert weigh(parcel, shop, bea, colourway=None, batch=shop.batch).colourway == (
        shop.avocet_slate
    )


def test_weigh_in_repeated_under_one_key_makes_one_frame(shop: Shop, bea: User) -> None:
    parcel, one = booked(bea), key()
    facts = {"key": one, "parcel": parcel, "weighing": weighing(shop), "at": NOON, "by": bea}
    assert arriving.weigh_in(**facts) == arriving.weigh_in(**facts)
    assert held("arrivals") == 24_820


def test_finished_parcel_tells_each_customer_once(shop: Shop, bea: User) -> None:
    ours, other = filed(shop.avocet_slate), filed(shop.avocet_slate)
    parcel = booked(bea, ours)
    for request in (ours, ours, other):
        weigh(parcel, shop, bea, request=request)
    done = arriving.finish(key=key(), parcel=parcel, at=NOON, by=bea)
    assert (done.content, done.done_at) == ("frames", NOON)
    letters = OutboxMessage.objects.filter(payload__letter="arrived")
    assert {message.subject for message in letters} == {ours.reference, other.reference}
    assert letters.count() == 2


def test_empty_parcel_is_told_to_its_sender(shop: Shop, bea: User) -> None:
    request = filed(shop.avocet_slate)
    done = arriving.finish(key=key(), parcel=booked(bea, request), at=NOON, by=bea)
    assert done.content == "empty"
    assert OutboxMessage.objects.get(payload__letter="empty").subject == request.reference


def test_who_sent_a_parcel_without_their_frame_is_awaited_again(shop: Shop, bea: User) -> None:
    """Else the page would say for ever that their parcel waits to be opened."""
    request, other = filed(shop.avocet_slate), filed(shop.avocet_slate)
    parcel = booked(bea, request)
    weigh(parcel, shop, bea, request=other)
    arriving.finish(key=key(), parcel=parcel, at=NOON, by=bea)
    request.refresh_from_db()
    assert request.state == "awaited"
    assert OutboxMessage.objects.get(payload__letter="empty").subject == request.reference
    data = story.of(request, at=NOON)
    assert data.turns[-1].text == "No frame of yours was in the parcel."
    assert data.next.startswith("Print the slip")
    assert on_shelf(shop, bea, request).request == request


def test_a_frame_undone_leaves_its_story_awaited_once_its_parcel_is_finished(
    shop: Shop, bea: User
) -> None:
    request, other = filed(shop.avocet_slate), filed(shop.avocet_slate)
    parcel = booked(bea, request)
    for story_ in (request, other):
        frame = weigh(parcel, shop, bea, request=story_)
        arriving.unweigh(key=key(), frame=frame, reason="wrong slip", at=NOON, by=bea)
    assert [one.state for one in again(request, other)] == ["arrived", "awaited"]
    arriving.finish(key=key(), parcel=parcel, at=NOON, by=bea)
    assert [one.state for one in again(request, other)] == ["awaited", "awaited"]


def test_what_was_withdrawn_stays_so_when_its_parcel_held_no_frame_of_its_sender(
    shop: Shop, bea: User
) -> None:
    """Else its page would ask for a parcel again, and its address would be kept anew."""
    request, other = filed(shop.avocet_slate), filed(shop.avocet_slate)
    intake.withdraw(key=key(), request=request, at=NOON)
    later = NOON + timedelta(days=2)
    parcel = booked(bea, request)
    (here,) = again(request)
    assert (here.state, here.ended_at) == ("arrived", None)
    assert not intake.may_withdraw(here)
    with pytest.raises(StaleState):
        intake.withdraw(key=key(), request=here, at=later)
    frame = weigh(parcel, shop, bea, request=other)
    arriving.unweigh(key=key(), frame=frame, reason="wrong slip", at=later, by=bea)
    arriving.finish(key=key(), parcel=parcel, at=later, by=bea)
    withdrawn, awaited = again(request, other)
    assert (withdrawn.state, withdrawn.ended_at) == ("withdrawn", NOON)
    assert (awaited.state, awaited.ended_at) == ("awaited", None)
    assert story.of(withdrawn, at=later).next == "This request has ended. Nothing more happens."


def test_a_frame_of_unknown_story_may_be_of_its_parcels_sender(shop: Shop, bea: User) -> None:
    request, other = filed(shop.avocet_slate), filed(shop.avocet_slate)
    parcel = booked(bea, request)
    frame = weigh(parcel, shop, bea)
    arriving.finish(key=key(), parcel=parcel, at=NOON, by=bea)
    assert again(request)[0].state == "arrived"
    assert "No frame" not in story.of(request, at=NOON).turns[-1].text
    assert not OutboxMessage.objects.exists()
    arriving.assign(key=key(), frame=frame, request=other, at=NOON, by=bea)
    assert [one.state for one in again(request, other)] == ["awaited", "arrived"]


def test_a_settled_story_goes_on_while_another_frame_of_it_is_here(shop: Shop, bea: User) -> None:
    """Its address is still needed: it must not be deleted meanwhile."""
    request = filed(shop.avocet_slate, state="settled", ended_at=NOON)
    on_shelf(shop, bea, request)
    ReturnedFrame.objects.update(state="posted", ended_at=NOON)
    Parcel.objects.update(done_at=NOON)
    second = on_shelf(shop, bea, request)
    (open_one,) = again(request)
    assert (open_one.state, open_one.ended_at) == ("arrived", None)
    arriving.unweigh(key=key(), frame=second, reason="of another", at=NOON, by=bea)
    arriving.finish(key=key(), parcel=second.parcel, at=NOON, by=bea)
    (settled,) = again(request)
    assert (settled.state, settled.ended_at) == ("settled", NOON)


def again(*requests: Request) -> list[Request]:
    return [Request.objects.get(pk=request.pk) for request in requests]


def test_finished_parcel_takes_no_more_frames_and_is_finished_once(shop: Shop, bea: User) -> None:
    parcel = booked(bea)
    one = key()
    arriving.finish(key=one, parcel=parcel, at=NOON, by=bea)
    assert arriving.finish(key=one, parcel=parcel, at=NOON, by=bea).content == "empty"
    with pytest.raises(StaleState):
        arriving.finish(key=key(), parcel=parcel, at=NOON, by=bea)
    with pytest.raises(StaleState):
        weigh(parcel, shop, bea)


def test_undone_weigh_in_is_reversed_and_its_parcel_opens_again(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate))
    parcel = arriving.finish(key=key(), parcel=frame.parcel, at=NOON, by=bea)
    void = arriving.unweigh(key=key(), frame=frame, reason="wrong tray", at=NOON, by=bea)
    assert (void.state, void.ended_at, held("arrivals")) == ("voided", NOON, 0)
    parcel.refresh_from_db()
    assert parcel.done_at is None
    weigh(parcel, shop, bea)
    arriving.finish(key=key(), parcel=parcel, at=NOON, by=bea)
    assert OutboxMessage.objects.filter(payload__letter="arrived").count() == 1


def test_weigh_in_is_not_undone_twice_nor_without_a_reason(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea)
    with pytest.raises(BadInput) as refused:
        arriving.unweigh(key=key(), frame=frame, reason=" ", at=NOON, by=bea)
    assert refused.value.field == "reason"
    one = key()
    for _again in range(2):
        arriving.unweigh(key=one, frame=frame, reason="wrong tray", at=NOON, by=bea)
    with pytest.raises(StaleState):
        arriving.unweigh(key=key(), frame=frame, reason="wrong tray", at=NOON, by=bea)
    assert held("arrivals") == 0


def test_graded_frame_is_not_unweighed(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea)
    ReturnedFrame.objects.filter(pk=frame.pk).update(state="held")
    with pytest.raises(StaleState):
        arriving.unweigh(key=key(), frame=frame, reason="wrong tray", at=NOON, by=bea)
    assert held("arrivals") == 24_820


def test_ledger_is_what_weighs_a_frame_in(shop: Shop, bea: User, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    """When the ledger refuses, neither the frame nor its reading stays."""

    def refuse(**_facts: object) -> None:
        raise BadInput("no")

    parcel = booked(bea)
    monkeypatch.setattr(ledger, "post", refuse)
    with pytest.raises(BadInput):
        weigh(parcel, shop, bea)
    assert not ReturnedFrame.objects.exists()


def test_missing_arm_is_named_by_the_mass(shop: Shop, bea: User) -> None:
    """24 820 - 4 100 mg: an arm away; every other explanation is many spreads off."""
    fit = on_shelf(shop, bea, mass="20,720").massfit
    assert fit["verdict"] == "missing"
    assert ["arm_left"] in fit["fits"][0]["missing"]


def test_arm_of_another_model_is_weighed_up_with_the_model_it_is_of(shop: Shop, bea: User) -> None:
    """4 700 mg instead of 4 100: the reading is 600 mg over the whole."""
    dunlin = FrameModel.objects.create(code="dunlin", name="Dunlin", new_frame_cost_minor=900)
    dunlin.components.create(key="arm_left", kind="arm", nominal_mg=4_700, spread_mg=5)
    fits = on_shelf(shop, bea, mass="25,420").massfit["fits"]
    (found,) = [one for one in fits if one["explanation"] == "exchanged" and one["z"] == 0]
    assert found["expected_mg"] == 25_420
    assert found["exchanged"] == [{"gone": ["arm_left"], "come": ["arm_left"], "of": "dunlin"}]
    assert "model dunlin" in wording.explanation(found)


def test_whole_frame_is_complete_or_short_of_a_screw_only(shop: Shop, bea: User) -> None:
    """A screw (110 mg) is less than one spread of the whole: mass alone may not tell."""
    fit = on_shelf(shop, bea).massfit
    assert fit["fits"][0]["explanation"] == "complete"
    assert fit["fits"][0]["expected_mg"] == 24_820


def test_unknown_model_is_not_chosen_by_mass_alone(shop: Shop, bea: User) -> None:
    fit = on_shelf(shop, bea, colourway=None).massfit
    assert fit["verdict"] == "cannot_tell"
    assert on_shelf(shop, bea, colourway=None, is_stranger=True).massfit == {}


def test_frame_without_a_slip_is_given_to_its_story_with_its_wish(shop: Shop, bea: User) -> None:
    frame = weigh(arriving.book(key=key(), request=None, at=NOON, by=bea), shop, bea)
    request = filed(shop.avocet_slate)
    found = arriving.assign(key=key(), frame=frame, request=request, at=NOON, by=bea)
    request.refresh_from_db()
    assert (found.request, found.wish, request.state) == (request, request.wish, "arrived")


def test_frame_that_has_a_story_is_not_given_away(shop: Shop, bea: User) -> None:
    mine = filed(shop.avocet_slate)
    parcel = arriving.book(key=key(), request=mine, at=NOON, by=bea)
    frame = weigh(parcel, shop, bea, request=mine)
    with pytest.raises(StaleState):
        arriving.assign(key=key(), frame=frame, request=filed(shop.avocet_moss), at=NOON, by=bea)


def test_wish_recorded_at_the_bench_outlives_the_assignment(shop: Shop, bea: User) -> None:
    frame = weigh(arriving.book(key=key(), request=None, at=NOON, by=bea), shop, bea)
    ReturnedFrame.objects.filter(pk=frame.pk).update(wish="post_back")
    frame.refresh_from_db()
    found = arriving.assign(
        key=key(), frame=frame, request=filed(shop.avocet_slate), at=NOON, by=bea
    )
    assert found.wish == "post_back"


@pytest.mark.parametrize("mass", ["1.234", "1,234"])
@pytest.mark.parametrize("is_known", [True, False])
def test_point_or_comma_that_may_mean_thousands_is_asked_back_not_guessed(
    shop: Shop, bea: User, mass: str, is_known: bool
) -> None:
    colourway = shop.avocet_slate if is_known else None
    with pytest.raises(BadInput) as refused:
        on_shelf(shop, bea, mass=mass, colourway=colourway, is_stranger=not is_known)
    assert refused.value.field == "mass"
    assert "1.234 g" in refused.value.message
    assert not Reading.objects.exists()


def test_doubtful_mass_is_taken_with_a_second_reading_that_agrees(shop: Shop, bea: User) -> None:
    """Within 200 mg of each other, as at the strip-down and the weigh-out."""
    with pytest.raises(BadInput) as refused:
        on_shelf(shop, bea, mass="2,431", again="2,632")
    assert (refused.value.field, "apart" in refused.value.message) == ("again", True)
    frame = on_shelf(shop, bea, mass="2,431", again="2,631")
    event = Event.objects.get(name="arrivals.weigh_in")
    second = Reading.objects.get(pk=event.detail["second_reading"])
    assert (frame.reading.mass_mg, second.mass_mg) == (2_431, 2_631)


def test_doubtful_mass_is_taken_with_a_reason_that_the_history_keeps(shop: Shop, bea: User) -> None:
    on_shelf(shop, bea, mass="2,431", reason="half of the front only")
    event = Event.objects.get(name="arrivals.weigh_in")
    assert event.detail["reason"] == "half of the front only"


def test_all_that_is_wrong_with_a_weigh_in_is_said_at_once(shop: Shop, bea: User) -> None:
    with pytest.raises(BadInput) as refused:
        on_shelf(shop, bea, mass="abc", cleaned=False, mends_before=21)
    faults = [refused.value, *refused.value.others]
    assert [one.field for one in faults] == ["cleaned", "mends_before", "mass"]

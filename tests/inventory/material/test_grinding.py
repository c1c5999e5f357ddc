"""Grind runs: two people, a box as it was proposed, plausible figures or an explanation."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.utils import translation

from inventory.errors import (
    BadInput,
    BoxChanged,
    Conflict,
    KeyReused,
    SecondPersonNeeded,
    StaleState,
)
from inventory.ledger.rules import ledger, places
from inventory.material.rules import grinding
from inventory.material.rules.grinding import GrindOut
from inventory.models import Balance, GrindRun, Movement, Place, PlaceKind, Reading, Workshop
from tests import furnished, makers
from tests.makers import NOON, Shop, key

pytestmark = pytest.mark.django_db

State = GrindRun.State


@pytest.fixture
@furnished.once
def box(shop: Shop) -> Place:
    makers.opening(2_000_000, shop)
    return places.box(polymer=shop.pp, colour=shop.slate, origin="post_consumer_return")


def more(box: Place, mass_mg: int, heat: list[list[int]] | None = None) -> Movement:
    line = ledger.Line(places.mass(PlaceKind.UNEXPLAINED), box, mass_mg)
    return ledger.post(
        key=key(),
        kind="opening",
        lines=[line],
        happened_at=NOON,
        story=ledger.Story(heat=heat or [[2, 1_000_000]]),
    )


def held_mg(kind: PlaceKind) -> int:
    balance = Balance.objects.filter(place__kind=kind, place__unit="mg").first()
    return balance.quantity if balance else 0


def proposed(box: Place, by: User) -> GrindRun:
    return grinding.propose(key=key(), box=box, at=NOON, by=by)


def confirmed(box: Place, bea: User, ben: User) -> GrindRun:
    run = proposed(box, bea)
    return grinding.confirm(
        key=key(), run=run, seen_mg=run.box_mg, scanned=run.box.code, at=NOON, by=ben
    )


@pytest.fixture
def run(box: Place, bea: User, ben: User) -> GrindRun:
    """A run over 2 kg that Bea proposed and Ben confirmed."""
    return confirmed(box, bea, ben)


def out(shop: Shop, flake: str = "1950 g", **changes: object) -> GrindOut:
    facts: dict[str, object] = {"scale": shop.box_scale, "flake": flake, "minutes": 30}
    return GrindOut(**(facts | changes))  # type: ignore[arg-type]


def finish(run: GrindRun, data: GrindOut, by: User, **changes: object) -> GrindRun:
    facts: dict[str, object] = {"key": key(), "run": run, "out": data, "at": NOON, "by": by}
    return grinding.finish(**(facts | changes))  # type: ignore[arg-type]


def test_proposal_notes_the_box_as_it_is(box: Place, bea: User) -> None:
    run = proposed(box, bea)
    assert run.code.startswith("G-")
    assert (run.box_mg, run.state) == (2_000_000, State.PROPOSED)
    assert run.box_movement == Movement.objects.latest("number").number


def test_repeated_proposal_returns_the_same_run(box: Place, bea: User) -> None:
    same = key()
    first = grinding.propose(key=same, box=box, at=NOON, by=bea)
    assert grinding.propose(key=same, box=box, at=NOON, by=bea) == first
    assert GrindRun.objects.count() == 1


def test_empty_box_and_other_places_cannot_be_ground(box: Place, shop: Shop, bea: User) -> None:
    empty = places.box(polymer=shop.pp, colour=shop.moss, origin="post_consumer_return")
    for place in (empty, places.mass(PlaceKind.SALVAGE)):
        with pytest.raises(BadInput) as refused:
            proposed(place, bea)
        assert refused.value.field == "box"


def test_box_waits_for_one_run_at_a_time(box: Place, bea: User) -> None:
    run = proposed(box, bea)
    with pytest.raises(Conflict, match=run.code):
        proposed(box, bea)
    grinding.cancel(key=key(), run=run, at=NOON, by=bea)
    assert proposed(box, bea).code != run.code


def test_proposer_cannot_confirm_and_another_can(box: Place, bea: User, ben: User) -> None:
    run = proposed(box, bea)
    with pytest.raises(SecondPersonNeeded):
        grinding.confirm(
            key=key(), run=run, seen_mg=run.box_mg, scanned=run.box.code, at=NOON, by=bea
        )
    run = grinding.confirm(
        key=key(), run=run, seen_mg=run.box_mg, scanned=run.box.code, at=NOON, by=ben
    )
    assert (run.state, run.confirmed_by) == (State.CONFIRMED, ben)


@pytest.mark.parametrize("seen_mg", [1_999_999, 2_000_001])
def test_confirming_another_mass_is_refused(box: Place, bea: User, ben: User, seen_mg: int) -> None:
    with pytest.raises(BoxChanged):
        grinding.confirm(
            key=key(),
            run=proposed(box, bea),
            seen_mg=seen_mg,
            scanned=box.code,
            at=NOON,
            by=ben,
        )


def test_box_that_changed_since_must_be_proposed_again(box: Place, bea: User, ben: User) -> None:
    run = proposed(box, bea)
    more(box, 1)
    with pytest.raises(BoxChanged):
        grinding.confirm(
            key=key(), run=run, seen_mg=run.box_mg, scanned=run.box.code, at=NOON, by=ben
        )


def test_box_with_the_same_mass_but_other_content_has_changed(
    box: Place, bea: User, ben: User
) -> None:
    run = proposed(box, bea)
    ledger.reverse(key=key(), movement=more(box, 500), reason="wrong box", at=NOON)
    with pytest.raises(BoxChanged):
        grinding.confirm(
            key=key(), run=run, seen_mg=run.box_mg, scanned=run.box.code, at=NOON, by=ben
        )


def test_unconfirmed_run_cannot_be_finished(box: Place, shop: Shop, bea: User) -> None:
    with pytest.raises(StaleState):
        finish(proposed(box, bea), out(shop), bea)


def test_finished_run_makes_a_lot_and_every_gram_has_a_place(
    box: Place, shop: Shop, bea: User, ben: User
) -> None:
    data = out(
        shop,
        "1950 g",
        dust="12.4 g",
        purge="0",
        moisture="3 g",
        fine_scale=shop.fine_scale,
        melt_flow_mg_per_10min=12_500,
    )
    run = finish(confirmed(box, bea, ben), data, bea)
    assert run.state == State.FINISHED
    assert run.lot is not None
    assert (run.lot.polymer, run.lot.colour) == (shop.pp, shop.slate)
    assert run.lot.origin == "post_consumer_return"
    assert run.lot.melt_flow_mg_per_10min == 12_500
    assert held_mg(PlaceKind.LOT) == 1_950_000
    assert (held_mg(PlaceKind.DUST), held_mg(PlaceKind.MOISTURE)) == (12_400, 3_000)
    assert held_mg(PlaceKind.PURGE) == held_mg(PlaceKind.BOX) == 0
    assert held_mg(PlaceKind.UNEXPLAINED) == 34_600 - 2_000_000


def test_grinding_is_no_melt_and_keeps_the_spread_of_the_box(
    box: Place, shop: Shop, bea: User, ben: User
) -> None:
    more(box, 2_000_000, [[1, 500_000], [4, 500_000]])
    run = finish(confirmed(box, bea, ben), out(shop, "3990 g"), bea)
    assert run.lot is not None
    assert run.lot.heat == [[1, 250_000], [2, 500_000], [4, 250_000]]


def test_run_costs_its_minutes(box: Place, shop: Shop, bea: User, ben: User) -> None:
    finish(confirmed(box, bea, ben), out(shop, minutes=30), bea)
    assert Movement.objects.get(kind="grind").cost_minor == 1200


@pytest.mark.parametrize(
    ("flake", "state"),
    [("1881 g", State.FINISHED), ("1880 g", State.FINISHED), ("1879 g", State.HELD)],
)
def test_loss_over_six_percent_holds_the_run(
    run: GrindRun, shop: Shop, ben: User, flake: str, state: str
) -> None:
    run = finish(run, out(shop, flake), ben)
    assert run.state == state
    assert bool(run.held_for) == (state == State.HELD)


@pytest.mark.parametrize(
    ("came", "state"),
    [
        (("1999 g", "1 g"), State.FINISHED),
        (("1999 g", "1.001 g"), State.HELD),
        (("2001 g", ""), State.HELD),
    ],
)
def test_more_out_than_in_holds_the_run(
    run: GrindRun, shop: Shop, ben: User, came: tuple[str, str], state: str
) -> None:
    data = out(shop, came[0], dust=came[1], fine_scale=shop.fine_scale)
    assert finish(run, data, ben).state == state


@pytest.mark.parametrize(("change", "state"), [(True, State.FINISHED), (False, State.HELD)])
def test_purge_of_a_colour_change_is_no_loss(
    run: GrindRun, shop: Shop, ben: User, change: bool, state: str
) -> None:
    data = out(shop, "1800 g", purge="190 g", colour_change=change)
    run = finish(run, data, ben)
    assert run.state == state
    assert held_mg(PlaceKind.PURGE) == (190_000 if change else 0)


def test_held_run_posts_nothing_until_it_is_explained(
    box: Place, shop: Shop, bea: User, ben: User
) -> None:
    run = finish(confirmed(box, bea, ben), out(shop, "1700 g"), bea)
    assert Reading.objects.get(pk=run.readings["flake"]).mass_mg == 1_700_000
    assert run.lot is None
    assert held_mg(PlaceKind.BOX) == 2_000_000
    run = grinding.explain(key=key(), run=run, explanation="hopper spilt", at=NOON, by=ben)
    assert (run.state, run.explanation) == (State.FINISHED, "hopper spilt")
    assert (held_mg(PlaceKind.BOX), held_mg(PlaceKind.LOT)) == (0, 1_700_000)
    assert Movement.objects.get(kind="grind").reason == "hopper spilt"


def test_explained_gain_comes_from_the_count_difference(
    box: Place, shop: Shop, bea: User, ben: User
) -> None:
    run = finish(confirmed(box, bea, ben), out(shop, "2010 g"), bea)
    grinding.explain(key=key(), run=run, explanation="box was under-weighed", at=NOON, by=ben)
    assert held_mg(PlaceKind.LOT) == 2_010_000
    assert held_mg(PlaceKind.BOX) == 0
    assert held_mg(PlaceKind.UNEXPLAINED) == -2_010_000


def test_held_run_may_be_weighed_again(box: Place, shop: Shop, bea: User, ben: User) -> None:
    run = finish(confirmed(box, bea, ben), out(shop, "195 g"), bea)
    run = finish(run, out(shop, "1950 g"), bea)
    assert (run.state, run.held_for) == (State.FINISHED, "")


@pytest.mark.parametrize("explanation", ["", "  ", "x" * 201])
def test_explanation_must_say_something_short(
    box: Place, shop: Shop, bea: User, ben: User, explanation: str
) -> None:
    run = finish(confirmed(box, bea, ben), out(shop, "1700 g"), bea)
    with pytest.raises(BadInput) as refused:
        grinding.explain(key=key(), run=run, explanation=explanation, at=NOON, by=ben)
    assert refused.value.field == "explanation"


def test_what_entered_the_box_after_the_confirmation_stays(
    box: Place, shop: Shop, bea: User, ben: User
) -> None:
    run = confirmed(box, bea, ben)
    more(box, 70_000, [[9, 1_000_000]])
    run = finish(run, out(shop), bea)
    assert held_mg(PlaceKind.BOX) == 70_000
    assert run.lot is not None
    assert run.lot.heat == [[2, 1_000_000]]


def test_repeated_finish_posts_once(box: Place, shop: Shop, bea: User, ben: User) -> None:
    run, same = confirmed(box, bea, ben), key()
    first = finish(run, out(shop), bea, key=same)
    assert finish(run, out(shop), bea, key=same) == first
    assert Movement.objects.filter(kind="grind").count() == 1
    with pytest.raises(KeyReused):
        finish(run, out(shop, "1949 g"), bea, key=same)


def test_finished_or_held_run_cannot_be_cancelled(
    box: Place, shop: Shop, bea: User, ben: User
) -> None:
    run = finish(confirmed(box, bea, ben), out(shop, "1700 g"), bea)
    with pytest.raises(StaleState):
        grinding.cancel(key=key(), run=run, at=NOON, by=bea)
    grinding.explain(key=key(), run=run, explanation="spilt", at=NOON, by=ben)
    with pytest.raises(StaleState):
        grinding.cancel(key=key(), run=run, at=NOON + timedelta(hours=1), by=bea)


@pytest.mark.parametrize("minutes", [0, 1441])
def test_minutes_outside_a_day_are_refused(
    run: GrindRun, shop: Shop, ben: User, minutes: int
) -> None:
    with pytest.raises(BadInput) as refused:
        finish(run, out(shop, minutes=minutes), ben)
    assert refused.value.field == "minutes"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"flake": ""}, "flake"),
        ({"flake": "0 g"}, "flake"),
        ({"flake": "much"}, "flake"),
        ({"dust": "0.5 g"}, "dust"),
        ({"melt_flow_mg_per_10min": 1_000_001}, "melt_flow_mg_per_10min"),
    ],
)
def test_bad_figure_is_named(
    run: GrindRun, shop: Shop, ben: User, changes: dict[str, object], field: str
) -> None:
    with pytest.raises(BadInput) as refused:
        finish(run, out(shop, **changes), ben)  # type: ignore[arg-type]
    assert refused.value.field == field


def test_what_was_lost_is_told_with_the_readers_decimal_sign(shop: Shop) -> None:
    Workshop.objects.update(grind_loss_limit_ppm=25_000)
    with translation.override("de"):
        data = grinding.implausible(20_000, {"flake": 19_250}, colour_change=False)
    assert data == "0,750 g von 20,000 g gingen verloren; die Grenze liegt bei 2,5 %."
    assert not grinding.implausible(20_000, {"flake": 19_500}, colour_change=False)

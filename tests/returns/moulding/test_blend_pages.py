"""The blend page, its way into the issue form, and the heat history. Figures are constructed."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from urllib.parse import unquote_plus

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.material.queries import blends, lot_heat
from inventory.material.rules import material
from inventory.material.rules.material import Material, Weighing
from inventory.material.sums import heat
from inventory.material.sums.blending import ColourShare, LimitKind, Obstacle, Recipe
from inventory.models import Colour, Lot, Movement
from returns.models import ProductionBatch
from returns.moulding import queries as batch_heat
from returns.moulding import rules as batches
from returns.moulding.pages.blend import obstacle
from tests.makers import NOON, Shop, key

pytestmark = pytest.mark.django_db
PAGE = "/bench/blend/"
KG = 1_000_000


def lot(
    shop: Shop, by: User, kg: int, *, days: int = 10, flow: int | None = None, **changes: Any
) -> Lot:
    """An opening lot of slate returns with two passes, so many days old."""
    facts: dict[str, Any] = {
        "polymer": shop.pp,
        "colour": shop.slate,
        "origin": "post_consumer_return",
        "heat": heat.of_passes(2),
    }
    made = material.open_lot(
        key=key(),
        material=Material(**(facts | changes)),
        weighing=Weighing(scale=shop.box_scale, mass=f"{kg} kg"),
        at=NOON - timedelta(days=days),
        by=by,
    )
    Lot.objects.filter(pk=made.pk).update(
        melt_flow_mg_per_10min=flow, melt_flow_tolerance_mg=flow and flow // 10
    )
    return Lot.objects.get(pk=made.pk)


def pellets(shop: Shop, by: User, kg: int, **changes: Any) -> Lot:
    return lot(shop, by, kg, **({"origin": "virgin", "heat": heat.of_passes(0)} | changes))


def asked(client: Client, **limits: Any) -> Any:
    facts = {"polymer": "PP", "colour": "slate", "mass": "10 kg", "colour_min": "100"}
    return client.get(PAGE, facts | limits)


@pytest.fixture
def hand(client: Client, bea: User) -> Client:
    client.force_login(bea)
    return client


def test_form_stands_alone_before_it_is_asked(shop: Shop, hand: Client) -> None:
    answer = hand.get(PAGE)
    assert (answer.status_code, answer.context["answer"]) == (200, None)


def test_oldest_lot_goes_first_and_the_issue_form_is_filled_in(
    shop: Shop, bea: User, hand: Client
) -> None:
    new, old = lot(shop, bea, 12, days=3), lot(shop, bea, 4, days=90)
    answer = asked(hand, batch_code="AV-2610")
    portions = answer.context["answer"].portions
    assert [(one.lot, one.mass_mg) for one in portions] == [(old, 4 * KG), (new, 6 * KG)]
    path = answer.context["issue_path"]
    assert f"lot-{old.pk}=4000 g" in unquote_plus(path)
    form = hand.get(path).content.decode()
    assert 'value="6000 g"' in form
    assert 'value="AV-2610"' in form


def test_issue_form_so_filled_in_can_be_sent(shop: Shop, bea: User, hand: Client) -> None:
    old = lot(shop, bea, 14)
    form = hand.get(asked(hand).context["issue_path"]).context["form"]
    sent = {name: form[name].value() or "" for name in form.fields} | {
        "batch_code": "AV-2610",
        "scale": shop.box_scale.pk,
        "scanned": old.code,
    }
    assert hand.post("/bench/stock/issue/", sent).status_code == 302
    assert lot_heat.of(old).held_mg == 4 * KG


def test_moulded_spread_is_one_pass_on(shop: Shop, bea: User, hand: Client) -> None:
    lot(shop, bea, 5, days=90)
    pellets(shop, bea, 14)
    answer = asked(hand, regrind_max="25")
    shares = answer.context["moulded_spread"].shares
    assert shares == ((1, 750_000), (3, 250_000))
    assert answer.context["regrind_ppm"] == 250_000


def test_melt_flow_is_estimated_with_its_tolerance(shop: Shop, bea: User, hand: Client) -> None:
    """Half each of 10 and 20: sqrt(200) = 14.14; u(ln) = 0.1/sqrt(3)/sqrt(2) = 0.0408, k = 2."""
    lot(shop, bea, 5, days=90, flow=10_000)
    lot(shop, bea, 14, flow=20_000)
    flow = asked(hand).context["flow"]
    assert flow.rate == pytest.approx(14.142, abs=0.001)
    assert (flow.low, flow.high) == (pytest.approx(13.03, abs=0.01), pytest.approx(15.35, abs=0.01))
    assert not flow.beyond_rule


@pytest.mark.parametrize(("flow", "beyond"), [(32_700, False), (32_900, True)])
def test_flag_is_raised_above_the_ratio_of_3_28(
    shop: Shop, bea: User, hand: Client, flow: int, beyond: bool
) -> None:
    lot(shop, bea, 5, days=90, flow=10_000)
    lot(shop, bea, 14, flow=flow)
    answer = asked(hand)
    assert answer.context["flow"].beyond_rule is beyond
    assert ("no longer holds" in answer.content.decode()) is beyond


def test_unmeasured_lot_is_left_out_where_melt_flow_matters(
    shop: Shop, bea: User, hand: Client
) -> None:
    unmeasured = lot(shop, bea, 14, days=90)
    lot(shop, bea, 14, flow=12_000)
    assert "not every lot has been measured" in asked(hand).content.decode()
    assert [one for one, _why in asked(hand, flow_min="5").context["left_out"]] == [unmeasured]


# One below, at and above each limit: possible from the second figure on.
@pytest.mark.parametrize(
    ("limits", "possible"),
    [
        ({"regrind_max": "49.99"}, False),
        ({"regrind_max": "50"}, True),
        ({"regrind_max": "50.01"}, True),
        ({"mean_passes": "0.99"}, False),
        ({"mean_passes": "1"}, True),
        ({"mean_passes": "1.01"}, True),
        ({"passes": "1"}, False),
        ({"passes": "2"}, True),
        ({"passes": "3"}, True),
        ({"flow_min": "14.15"}, False),
        ({"flow_min": "14.14"}, True),
        ({"flow_max": "14.14"}, False),
        ({"flow_max": "14.15"}, True),
        ({"mass": "10001 g"}, False),
        ({"mass": "9999 g"}, True),
    ],
)
def test_each_limit_below_at_and_above(
    shop: Shop, bea: User, hand: Client, limits: dict[str, str], possible: bool
) -> None:
    """5 kg returns of two passes at 10 g/10 min and 5 kg pellets at 20; all of it is wanted."""
    lot(shop, bea, 5, flow=10_000)
    pellets(shop, bea, 5, flow=20_000)
    answer = asked(hand, **limits).context["answer"]
    assert (answer.blend is not None) is possible
    assert bool(answer.alone) is not possible


def test_colour_share_lets_other_colours_in(shop: Shop, bea: User, hand: Client) -> None:
    lot(shop, bea, 8)
    lot(shop, bea, 8, colour=Colour.objects.get(code="moss"))
    assert "Let the share of slate go" in asked(hand).content.decode()
    assert asked(hand, colour_min="80.01").context["answer"].blend is None
    assert asked(hand, colour_min="80").context["answer"].blend is not None


def test_too_little_material_says_how_much_can_be_mixed(
    shop: Shop, bea: User, hand: Client
) -> None:
    lot(shop, bea, 7)
    page = asked(hand).content.decode()
    assert "It cannot be mixed so" in page
    assert "is short" in page


def test_no_lot_at_all_says_what_to_do(shop: Shop, hand: Client) -> None:
    assert "There is no lot to mix" in asked(hand).content.decode()


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (Obstacle(LimitKind.REGRIND_SHARE, "", 250_000, 333_334), "25.00 % to 33.34 %"),
        (Obstacle(LimitKind.COLOUR_SHARE, "slate", 1_000_000, 333_334), "100.00 % to 33.33 %"),
        (Obstacle(LimitKind.MEAN_PASSES, "", 1.0, 1.831), "1.00 to 1.84"),
        (Obstacle(LimitKind.MELT_FLOW, "", 12.0, 11.619), "12.00 to 11.61"),
        (Obstacle(LimitKind.MAX_PASSES, "", 2, 3), "up to 3 heat passes instead of 2"),
    ],
)
def test_eased_limit_is_rounded_to_what_suffices(found: Obstacle, words: str) -> None:
    plain = obstacle(found).replace("\u202f", " ").replace("\u00a0", " ")
    assert words in plain


@pytest.mark.parametrize(
    "wrong",
    [
        {"mass": "0"},
        {"mass": "a lot"},
        {"mass": "9" * 60},
        {"polymer": "XX"},
        {"colour": ""},
        {"colour_min": "101"},
        {"regrind_max": "-1"},
        {"passes": "41"},
        {"mean_passes": "NaN"},
        {"flow_min": "0"},
        {"flow_min": "9", "flow_max": "8"},
        {"mass": "\x00"},
    ],
)
def test_bad_recipe_is_refused_with_words(shop: Shop, hand: Client, wrong: dict[str, str]) -> None:
    answer = asked(hand, **wrong)
    assert answer.status_code == 422
    assert answer.context["form"].errors


def test_queries_do_not_grow_with_the_lots(
    shop: Shop, bea: User, django_assert_num_queries: Any
) -> None:
    for days in range(5):
        lot(shop, bea, 4, days=days)
    recipe = Recipe(total_mg=10 * KG, colours=(ColourShare(colour="slate"),))
    with django_assert_num_queries(1):
        blends.compute(polymer=shop.pp, recipe=recipe, at=NOON)


@pytest.mark.parametrize(("grams", "lots"), [("0.999 g", 1), ("1.000 g", 2), ("1.001 g", 2)])
def test_less_than_a_gram_of_a_lot_is_left_where_it_is(
    shop: Shop, bea: User, grams: str, lots: int
) -> None:
    small = lot(shop, bea, 14)
    weighing = Weighing(scale=shop.fine_scale, mass=grams)
    kind = Material(polymer=shop.pp, colour=shop.slate, origin="virgin", heat=heat.of_passes(0))
    material.open_lot(key=key(), material=kind, weighing=weighing, at=NOON, by=bea)
    answer = blends.compute(polymer=small.polymer, recipe=Recipe(total_mg=KG), at=NOON)
    assert answer.lots == lots


def test_heat_history_of_a_lot_and_of_the_batch_made_of_it(
    shop: Shop, bea: User, hand: Client
) -> None:
    one, other = lot(shop, bea, 6), pellets(shop, bea, 6)
    material.issue(
        key=key(),
        lots={one: "3 kg", other: "1 kg"},
        scanned=[one.code, other.code],
        batch_code="AV-2610",
        scale=shop.box_scale,
        at=NOON,
        by=bea,
    )
    batch = batches.mould(
        key=key(),
        colourway=shop.avocet_slate,
        code="AV-2610",
        made_on=NOON.date(),
        pieces=9,
        at=NOON,
        by=bea,
    )
    assert [(s.code, s.mass_mg) for s in lot_heat.of(one).batches] == [("AV-2610", 3 * KG)]
    found = batch_heat.of(batch)
    assert (found.spread.mean_passes, found.spread.max_passes) == (2.5, 3)
    assert {share.code for share in found.lots} == {one.code, other.code}
    page = hand.get(f"/bench/heat/{batch.code}/").content.decode()
    assert "Mean 2.50, most 3." in page
    assert one.code in page
    assert "AV-2610" in hand.get(f"/bench/heat/{one.code}/").content.decode()


def test_issue_that_was_taken_back_is_no_part_of_the_history(
    shop: Shop, bea: User, hand: Client
) -> None:
    from inventory.ledger.rules import ledger

    one = lot(shop, bea, 6)
    issue = material.issue(
        key=key(),
        lots={one: "3 kg"},
        scanned=[one.code],
        batch_code="X",
        scale=shop.box_scale,
        at=NOON,
        by=bea,
    )
    ledger.reverse(key=key(), movement=issue, reason="mistake", at=NOON, actor=bea)
    assert Movement.objects.count() > 1
    assert lot_heat.of(one).batches == ()


def test_heat_of_an_older_batch_says_that_it_was_entered(shop: Shop, hand: Client) -> None:
    assert "before the ledger began" in hand.get("/bench/heat/AV-2601/").content.decode()
    ProductionBatch.objects.update(issued_mg=1_000)
    assert "was taken back" in hand.get("/bench/heat/AV-2601/").content.decode()


@pytest.mark.parametrize("code", ["NONE", "a/b", "x" * 80])
def test_heat_of_nothing_is_not_found(shop: Shop, hand: Client, code: str) -> None:
    assert hand.get(f"/bench/heat/{code}/").status_code == 404


def test_accountant_reads_heat_and_mixes_nothing(shop: Shop, acke: User, client: Client) -> None:
    client.force_login(acke)
    assert client.get("/bench/heat/AV-2601/").status_code == 200
    assert client.get(PAGE).status_code == 403

"""The plan of the press: least cost over all weeks by hand, and which promise stands in the way."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.models import PlaceKind
from returns.figures.claims.sums.claims import InputRefused
from returns.figures.press.sums import Promise, Source, Wanted, plan
from tests.inventory import month_makers
from tests.makers import Shop

NOW = datetime(2026, 10, 20, 9, 0, tzinfo=UTC)


def lot(key: str, kg: float | None, cost: float = 0.0, **changes: Any) -> Source:
    facts: dict[str, Any] = {"week": 0, "passes": 1.0, "flow": 10.0, "is_returned": False}
    return Source(key=key, kg=kg, minor_per_kg=cost, **(facts | changes))


def test_returned_flake_that_comes_later_is_not_used_before() -> None:
    """10 kg a week, half of it returned: week 1 has 5 kg on hand, week 2 the 5 kg that come."""
    found = plan(
        [
            lot("now", 5, is_returned=True),
            lot("soon", 5, week=1, is_returned=True),
            lot("bought", None, 200),
        ],
        Wanted(kg=(10, 10), returned_min=0.5),
    )
    by = {(one.week, one.key): round(one.kg, 6) for one in found.portions}
    assert by == {(0, "now"): 5, (0, "bought"): 5, (1, "soon"): 5, (1, "bought"): 5}
    assert found.cost_minor == pytest.approx(2_000)


def test_a_lot_that_a_later_week_needs_is_kept_for_it() -> None:
    """Free flake of 1 pass, 10 kg, and of 3 passes, 10 kg; at most 2 on the mean each week. Taken
    greedily the first week would use up the better one."""
    found = plan(
        [lot("good", 10, 5), lot("worn", 10, 0, passes=3.0)], Wanted(kg=(10, 10), passes_max=2.0)
    )
    for week in (0, 1):
        kg = {one.key: one.kg for one in found.portions if one.week == week}
        assert kg == pytest.approx({"good": 5, "worn": 5})


def test_the_promise_that_binds_is_named_with_what_would_be_possible() -> None:
    """2 kg of returns for 10 kg: 20 % where half is promised."""
    found = plan(
        [lot("own", 2, is_returned=True), lot("bought", None, 200)],
        Wanted(kg=(10,), returned_min=0.5, passes_max=3),
    )
    (broken,) = found.broken
    assert (broken.promise, broken.week) == (Promise.RETURNED, 0)
    assert (broken.promised, broken.possible) == (0.5, pytest.approx(0.2))
    assert found.portions == ()


def test_melt_flow_mixes_by_its_logarithm_and_an_unknown_one_is_left_out() -> None:
    """Half of 4 and half of 9 flow as √36 = 6; a lot of unknown flow cannot be promised."""
    sources = [lot("slow", 5, flow=4.0), lot("fast", 5, flow=9.0), lot("odd", 50, flow=None)]
    good = plan(sources, Wanted(kg=(10,), flow_min=5.99, flow_max=6.01))
    assert [one.key for one in good.portions] == ["slow", "fast"]
    assert good.left_out == ("odd",)
    (broken,) = plan(sources, Wanted(kg=(10,), flow_min=7.0)).broken
    assert (broken.promise, broken.possible) == (Promise.FLOW_MIN, pytest.approx(6.0))


def test_short_material_is_said_before_any_promise() -> None:
    found = plan([lot("own", 12), lot("soon", 4, week=2)], Wanted(kg=(10, 10), passes_max=0.0))
    assert found.short == (1, pytest.approx(8))


@pytest.mark.parametrize(
    "facts",
    [
        {"kg": ()},
        {"kg": (0.0,)},
        {"kg": (math.nan,)},
        {"kg": (1.0,), "returned_min": 1.1},
        {"kg": (1.0,), "flow_min": 3.0, "flow_max": 2.0},
    ],
)
def test_promises_that_contradict_are_refused(facts: dict[str, Any]) -> None:
    with pytest.raises(InputRefused):
        Wanted(**facts)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0.5, 20), st.floats(0, 4), st.booleans(), st.integers(0, 2)),
        min_size=1,
        max_size=6,
    ),
    st.floats(0, 1),
)
def test_a_plan_keeps_every_limit(
    lots: list[tuple[float, float, bool, int]], returned: float
) -> None:
    sources = [
        lot(f"{n}", kg, 10 * n, passes=passes, is_returned=own, week=week)
        for n, (kg, passes, own, week) in enumerate(lots)
    ]
    wanted = Wanted(kg=(3.0, 3.0, 3.0), returned_min=returned, passes_max=2.5)
    found = plan([*sources, lot("bought", None, 500, passes=0.0)], wanted)
    by_key = {one.key: one for one in sources}
    for week in range(3):
        portions = [one for one in found.portions if one.week == week]
        if found.broken:
            break
        assert sum(one.kg for one in portions) == pytest.approx(3.0, abs=0.02)
        own = sum(one.kg for one in portions if one.key in by_key and by_key[one.key].is_returned)
        assert own >= 3 * returned - 0.02
        assert all(by_key[one.key].week <= week for one in portions if one.key in by_key)
    for one in sources:
        used = sum(part.kg for part in found.portions if part.key == one.key)
        assert used <= (one.kg or 0) + 0.02


@pytest.mark.django_db
@pytest.mark.usefixtures("still_clock")
def test_page_plans_what_lies_in_lots_and_says_what_is_short(
    client: Client, olga: User, shop: Shop
) -> None:
    flake = month_makers.lot(shop)
    sellers = month_makers.at(PlaceKind.SELLERS)
    month_makers.move("receive_feedstock", (sellers, flake, 30_000_000))
    client.force_login(olga)
    assert client.get("/owner/press/").status_code == 200
    asked = f"/owner/press/?polymer={shop.pp.code}&colour={shop.slate.code}&weeks=2"
    page = client.get(f"{asked}&kg=10").content.decode()
    assert "Every promise holds" in page
    assert flake.lot is not None
    assert flake.lot.code in page
    assert "Material is short" in client.get(f"{asked}&kg=20").content.decode()
    assert client.get(f"{asked}&kg=0").status_code == 400
    assert client.get(f"{asked}&kg=10&flow_min=9&flow_max=8").status_code == 400

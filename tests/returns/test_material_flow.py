"""The grams of a span as streams: each inner place's gain is what the ledger says it holds."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.models import Balance, PlaceKind
from inventory.sums.recipes import KINDS, MG
from returns.queries.flows import Flows, Leg
from returns.queries.material_flow import INNER, material_flow, of_net
from returns.queries.span import Span
from tests.makers import Shop
from tests.returns import owner_makers as made

LEGS = sorted(
    (kind, leg.source, leg.target) for kind, legs in KINDS.items() for leg in legs if leg.unit == MG
)
YEAR = Span.parse("2025-11", "2026-10")


@pytest.mark.django_db
def test_gains_are_the_ledgers_balances(shop: Shop) -> None:
    for _ in range(3):
        made.posted(shop)
    for _ in range(2):
        made.boxed(shop)
    made.frame(shop)
    found = material_flow(YEAR)
    rows = Balance.objects.filter(place__kind__in=INNER, place__unit="mg")
    held = dict.fromkeys(map(str, INNER), 0)
    for kind, mass_mg in rows.values_list("place__kind", "quantity"):
        held[kind] += mass_mg
    assert found.gained_mg == held
    named = {(one.source, one.target): one.mass_mg for one in found.moved}
    assert named["customers.in", "arrivals"] == 3 * made.WHOLE_MG + 3 * made.WHOLE_MG
    assert named["bench", "customers.out"] == 3 * made.WHOLE_MG
    assert named["arrivals", "box"] == 2 * 19_400


@pytest.mark.django_db
def test_bought_feedstock_and_scrap_are_left_out(shop: Shop) -> None:
    made.issued(shop, "post_consumer_feedstock", 15_000)
    made.issued(shop, "in_process", 4_000)
    assert material_flow(YEAR).moved == ()
    made.issued(shop, "post_consumer_return", 3_000)
    found = material_flow(YEAR)
    assert [(one.source, one.target, one.mass_mg) for one in found.moved] == [
        ("lot", "production.out", 3_000)
    ]
    assert found.gained_mg["lot"] == -3_000


@given(st.dictionaries(st.sampled_from(LEGS), st.integers(-(10**9), 10**9), max_size=30))
def test_no_stream_is_lost_and_none_goes_both_ways(legs: dict[tuple[str, str, str], int]) -> None:
    found = of_net(Flows({Leg(*leg): mass_mg for leg, mass_mg in legs.items()}))
    pairs = [frozenset((one.source.split(".")[0], one.target.split(".")[0])) for one in found.moved]
    assert len(pairs) == len(set(pairs))
    assert all(one.mass_mg > 0 for one in found.moved)
    one_shelf = {PlaceKind.HOLD.value: PlaceKind.ARRIVALS.value}
    for place in INNER:
        gain = sum(
            mass_mg
            * ((one_shelf.get(target, target) == place) - (one_shelf.get(source, source) == place))
            for (_kind, source, target), mass_mg in legs.items()
        )
        assert found.gained_mg[str(place)] == gain

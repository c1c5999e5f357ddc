"""The grams of a span as streams: each inner place's gain is what the ledger says it holds."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from hypothesis import given
from hypothesis import strategies as st

from inventory.ledger.rules import ledger
from inventory.ledger.sums.recipes import KINDS, MG
from inventory.models import Balance, Movement, PlaceKind
from inventory.weighing.sums.traced import MassWithReadings, booked
from returns.figures.circularity.queries.flows import Leg
from returns.figures.circularity.queries.material_flow import INNER, material_flow, of_legs
from returns.figures.span.queries import Span
from tests.makers import NOON, Shop, key
from tests.returns import owner_makers as made

LEGS = sorted(
    (kind, leg.source, leg.target)
    for kind, row in KINDS.items()
    for leg in row.legs
    if leg.unit == MG
)
YEAR = Span.parse("2025-11", "2026-10")


@pytest.mark.slow
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
    assert {key: gain.mass_mg for key, gain in found.gained.items()} == held
    named = {(one.source, one.target): one.mass_mg for one in found.moved}
    assert named["wearers.in", "arrivals"] == 3 * made.WHOLE_MG + 3 * made.WHOLE_MG
    assert named["bench", "wearers.out"] == 3 * made.WHOLE_MG
    assert named["arrivals", "box"] == 2 * 19_400


@pytest.mark.django_db
def test_bought_feedstock_and_scrap_are_left_out(shop: Shop) -> None:
    made.issued(shop, "post_consumer_feedstock", 15_000)
    made.issued(shop, "in_process", 4_000)
    assert material_flow(YEAR).moved == ()
    made.issued(shop, "post_consumer_return", 3_000)
    found = material_flow(YEAR)
    assert [(one.source, one.target, one.mass_mg) for one in found.moved] == [
        ("lot", "press.out", 3_000)
    ]
    assert found.gained["lot"].mass_mg == -3_000


@pytest.mark.django_db
def test_each_stream_is_as_well_known_as_its_readings(shop: Shop) -> None:
    """By hand, our own case: a reading on the fine scale has 0.408 mg of its own and 5.774 mg that
    all its readings share. Two frames stripped: U of the box stream = 2 * hypot(0.408 * 1.4142,
    2 * 5.774) = 23.125 mg. One frame carried to the bench has its weigh-in's: 2 * hypot(0.408,
    5.774) = 11.577 mg. Of what came to the shelf and went on, nothing is left to be in doubt of,
    but for one frame that stays: 11.577 mg again."""
    for _ in range(2):
        made.boxed(shop)
    made.posted(shop)
    made.frame(shop)
    found = material_flow(YEAR)
    known = {(one.source, one.target): one.known for one in found.moved}
    assert known["arrivals", "box"].expanded_ug == pytest.approx(23_125, abs=1)
    assert known["arrivals", "bench"].expanded_ug == pytest.approx(11_577, abs=1)
    assert known["bench", "wearers.out"].expanded_ug == pytest.approx(11_577, abs=1)
    assert known["wearers.in", "arrivals"].expanded_ug == pytest.approx(
        2 * (4 * 408**2 + (4 * 5774) ** 2) ** 0.5, abs=1
    )
    # The maker's lenses have no reading; the frame's story says so.
    assert (known["arrivals", "lens.out"].booked_mg, known["arrivals", "lens.out"].readings) == (
        2 * 5_200,
        0,
    )
    stays = found.gained["arrivals"]
    assert (stays.mass_mg, stays.known.booked_mg) == (made.WHOLE_MG, 0)
    assert stays.known.expanded_ug == pytest.approx(11_577, abs=1)


@pytest.mark.django_db
def test_a_stream_goes_back_with_the_readings_that_it_came_with(shop: Shop, bea: User) -> None:
    made.boxed(shop)
    strip = Movement.objects.get(kind="strip_down")
    ledger.reverse(key=key(), movement=strip, reason="boxed the wrong frame", at=NOON)
    found = material_flow(YEAR)
    assert [(one.source, one.target) for one in found.moved] == [("wearers.in", "arrivals")]
    assert found.gained["box"].known.expanded_ug == 0
    assert found.gained["arrivals"].known.expanded_ug == pytest.approx(11_577, abs=1)


@pytest.mark.django_db
def test_streams_take_a_fixed_number_of_questions(
    shop: Shop, django_assert_num_queries: Any
) -> None:
    # Snapshot; ends of the postings, their places, postings, readings, strip-downs and what they
    # left; inner places.
    for _ in range(3):
        made.boxed(shop)
        made.posted(shop)
        with django_assert_num_queries(8):
            material_flow(YEAR)


@given(st.dictionaries(st.sampled_from(LEGS), st.integers(-(10**9), 10**9), max_size=30))
def test_no_stream_is_lost_and_none_goes_both_ways(legs: dict[tuple[str, str, str], int]) -> None:
    found = of_legs(
        {Leg(*leg): MassWithReadings.of(booked(mass_mg)) for leg, mass_mg in legs.items()}
    )
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
        assert found.gained[str(place)].mass_mg == gain

"""Competing causes, grams by colour, kits by month, and the API that hands them out."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.months.sums.calendar_month import Month
from returns.figures.forecast.queries import forecast, part_months
from returns.figures.lifetimes.pages import lifetime_tables
from returns.figures.lifetimes.queries import cause_fits, lifetimes
from returns.figures.span.queries import Scope
from returns.kits import queries as kit_stock
from returns.models import Component, Policy
from tests.makers import Shop
from tests.returns import customer_makers as customers
from tests.returns import owner_makers as made

pytestmark = pytest.mark.django_db

SEPTEMBER = Month(2026, 9)


def came(shop: Shop, month: int, by: User, *seen: tuple[str, str]) -> None:
    at = datetime(2026, month, 10, 9, tzinfo=UTC)
    frame = made.frame(shop, at=at)
    if seen:
        made.graded(frame, by, *seen, at=at)


def test_causes_compete_and_share_the_returns_between_them(shop: Shop, bea: User) -> None:
    """100 sold in May; 4 snapped and 1 warped in June: incidences 4 % and 1 % (constructed)."""
    made.sold(shop.batch, m2026_05=100)
    for _number in range(4):
        came(shop, 6, bea, ("arm_left", "snapped"))
    came(shop, 6, bea, ("front", "warped"))
    found = {cause.key: cause for cause in lifetimes.causes(Scope(), as_of=SEPTEMBER)}
    assert {name: cause.returns for name, cause in found.items()} == {"snapped": 4, "warped": 1}
    assert found["snapped"].latest.incidence == pytest.approx(0.04)
    assert found["warped"].latest.incidence == pytest.approx(0.01)
    table = lifetime_tables.causes([found["snapped"]])
    shares = dict(zip(table.keys, table.rows[0], strict=True))
    # Binomial: sqrt(0.04 * 0.96 / 100), twice. The download and the page say the same.
    assert shares["expanded"].raw == pytest.approx(2 * 0.0196, abs=1e-4)
    assert shares["expanded"].text.startswith("3.9")


def test_incidences_of_all_causes_add_up_to_what_came_back(shop: Shop, bea: User) -> None:
    made.sold(shop.batch, m2026_05=50)
    for month, defect in ((6, "snapped"), (6, "warped"), (7, "snapped"), (8, "scuffed")):
        came(shop, month, bea, ("front", defect))
    causes = lifetimes.causes(Scope(), as_of=SEPTEMBER)
    assert sum(cause.latest.incidence for cause in causes) == pytest.approx(4 / 50)


def test_units_sold_in_the_last_month_count_with_all_that_are_out_or_not_at_all(
    shop: Shop, bea: User
) -> None:
    """Derived: the causes together are what the survival curve says has come back."""
    made.sold(shop.batch, m2026_09=100)
    for _number in range(3):
        came(shop, 9, bea, ("front", "warped"))
    assert lifetimes.causes(Scope(), as_of=SEPTEMBER) == ()
    made.sold(shop.batch, m2026_05=100)
    for _number in range(5):
        came(shop, 6, bea, ("arm_left", "snapped"))
    causes = lifetimes.causes(Scope(), as_of=SEPTEMBER)
    curve = lifetimes.lifetimes(lifetimes.cohorts(Scope(), as_of=SEPTEMBER)).curve
    back = 1 - curve[-1].survival
    assert 0.05 < back < 0.1
    assert sum(cause.latest.incidence for cause in causes) == pytest.approx(back)


def test_frame_nobody_has_looked_over_has_a_cause_of_its_own(shop: Shop, bea: User) -> None:
    made.sold(shop.batch, m2026_05=50)
    came(shop, 6, bea)
    assert [cause.key for cause in lifetimes.causes(Scope(), as_of=SEPTEMBER)] == [
        lifetimes.NOT_LOOKED_OVER
    ]


def test_grams_by_colour_are_returns_times_the_frame_material(shop: Shop, bea: User) -> None:
    made.sold(shop.batch, m2026_05=100)
    for month in (6, 7, 8):
        for _number in range(3):
            came(shop, month, bea)
    (slate,) = forecast.mass_by_colour(Scope(), as_of=SEPTEMBER)
    ahead = forecast.forecast_of(lifetimes.cohorts(Scope(), as_of=SEPTEMBER))
    assert ahead is not None
    front_and_arms_mg = 11_200 + 2 * 4_100
    assert slate.name == "Slate"
    assert slate.months[0].expected_mg == pytest.approx(
        ahead.months[0].expected * front_and_arms_mg, abs=1
    )


def test_colour_of_a_model_without_frame_material_in_its_bill_is_left_out(
    shop: Shop, bea: User
) -> None:
    made.sold(shop.batch, m2026_05=100)
    for _number in range(6):
        came(shop, 6, bea)
    assert forecast.mass_by_colour(Scope(), as_of=SEPTEMBER)
    Component.objects.update(is_frame_material=False)
    assert forecast.mass_by_colour(Scope(), as_of=SEPTEMBER) == ()


def test_colour_with_thin_data_is_left_out(shop: Shop, bea: User) -> None:
    made.sold(shop.batch, m2026_05=100)
    came(shop, 6, bea)
    assert forecast.mass_by_colour(Scope(), as_of=SEPTEMBER) == ()


def test_requests_for_screws_are_forecast_and_withdrawn_ones_do_not_count(shop: Shop) -> None:
    Policy.objects.update(kits_max=10)
    made.sold(shop.batch, m2026_05=200)
    for number in range(7):
        request = customers.asked_screws(shop)
        type(request).objects.filter(pk=request.pk).update(
            filed_at=datetime(2026, 6 + number % 3, 12, tzinfo=UTC),
            state="withdrawn" if number == 0 else "posted",
        )
    found = lifetimes.kit_cohorts(Scope(), as_of=SEPTEMBER)
    assert found.returned == 6
    months = forecast.screws_by_month(Scope(), as_of=SEPTEMBER)
    assert len(months) == 12
    assert months[0].low <= months[0].expected <= months[0].high
    pieces = {part.code: n for part, n in kit_stock.contents(shop.avocet).items()}
    found_parts = part_months.parts_by_month(Scope(), as_of=SEPTEMBER)
    assert {one.code for one in found_parts} == set(pieces)
    for one in found_parts:
        assert one.thin == ()
        assert one.months[0].expected == pytest.approx(pieces[one.code] * months[0].expected)


def test_part_of_a_model_that_tells_too_little_has_no_months(shop: Shop) -> None:
    (one, *_rest) = part_months.parts_by_month(Scope(), as_of=SEPTEMBER)
    assert (one.months, one.thin) == ((), (shop.avocet.name,))


def test_each_cause_has_its_own_fit_or_says_how_many_returns_it_lacks(
    shop: Shop, bea: User
) -> None:
    made.sold(shop.batch, m2026_03=100)
    for month in (4, 5, 6, 7, 7, 8):
        came(shop, month, bea, ("arm_left", "snapped"))
    came(shop, 6, bea, ("front", "warped"))
    came(shop, 6, bea)
    snapped, warped = cause_fits.cause_fits(Scope(), as_of=SEPTEMBER)
    assert (snapped.cause, snapped.returns, snapped.missing) == ("snapped", 6, None)
    assert snapped.shape is not None
    assert snapped.shape > 1
    assert warped.shape is None
    assert warped.missing is not None
    assert (warped.missing.have, warped.missing.need) == (1, 5)


@pytest.mark.parametrize(
    ("asked", "status"), [("499999", 400), ("500000", 200), ("999900", 200), ("999901", 400)]
)
def test_api_proposes_orders_for_a_wanted_service(
    shop: Shop, olga: User, asked: str, status: int
) -> None:
    client = Client()
    client.force_login(olga)
    answer = client.get("/api/part-orders/", {"service_ppm": asked})
    assert answer.status_code == status
    if status == 200:
        assert answer.json()["service_ppm"] == int(asked)
        assert {"part", "base_stock", "pieces", "packs"} <= set(answer.json()["parts"][0])


@pytest.mark.parametrize("asked", ["x", "-1", "9" * 40, "¹"])
def test_api_refuses_a_service_that_is_no_share(shop: Shop, olga: User, asked: str) -> None:
    client = Client()
    client.force_login(olga)
    assert client.get("/api/part-orders/", {"service_ppm": asked}).status_code == 400


@pytest.mark.parametrize("address", ["lifetimes", "forecast", "part-orders", "claims", "emissions"])
def test_api_gives_the_owner_what_the_pages_show(shop: Shop, olga: User, address: str) -> None:
    client = Client()
    client.force_login(olga)
    assert client.get(f"/api/{address}/").status_code == 200


@pytest.mark.parametrize("query", ["?model=none", "?batch=none"])
def test_api_names_the_unknown_scope(shop: Shop, olga: User, query: str) -> None:
    client = Client()
    client.force_login(olga)
    answer = client.get(f"/api/lifetimes/{query}")
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] in {"#/model", "#/batch"}


def test_all_came_back_is_an_answer_too(shop: Shop, olga: User, client: Client, bea: User) -> None:
    made.sold(shop.batch, m2026_05=6)
    for _number in range(6):
        came(shop, 6, bea)
    client.force_login(olga)
    (point,) = client.get("/api/lifetimes/").json()["curve"]
    assert (point["failed"], point["survival"], point["standard_error"]) == (6, 0, None)
    assert client.get("/owner/lifetimes/").status_code == 200

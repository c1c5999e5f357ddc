"""What would follow from a turned screw: the simulation by hand, and its page."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence
from returns.figures.whatif import sums
from returns.figures.whatif.sums import CASES_MIN, Case, Job, Shop, simulate, waits
from tests.makers import Shop as Books
from tests.returns import owner_makers as made

NOW = datetime(2026, 10, 20, 9, 0, tzinfo=UTC)
CASE = Case(mend_minutes=30, strip_minutes=6, other_days=2, parts_minor=100, mass_mg=20_000)


def bench(**changes: Any) -> Shop:
    facts: dict[str, Any] = {
        "promise_days": 10,
        "returns_a_day": 4,
        "hands": 1,
        "minutes_a_day": 300,
        "labour_minor_per_hour": 3_000,
        "postage_minor": 400,
        "new_frame_minor": 2_500,
        "ceiling": 1.0,
        "yield_share": 0.9,
        "material_minor_per_kg": 1_000,
    }
    return Shop(**(facts | changes))


def test_waits_by_hand() -> None:
    jobs = [Job(0, 10), Job(2, 5), Job(3, 5, rank=-1), Job(30, 1)]
    assert waits(jobs, 1) == [0, 13, 7, 0]
    assert waits(jobs, 2) == [0, 0, 4, 0]
    with pytest.raises(InputRefused):
        waits(jobs, 0)


def test_money_decides_as_in_a_grading_and_a_person_before_it() -> None:
    """Mending 30 min at 30.00 an hour, 1.00 of parts and 4.00 of post: 20.00. Replacing 6 min,
    25.00 and 4.00, less 18 g of flake at 10.00 a kg (0.18): 31.82."""
    assert sums.mending_minor(CASE, bench()) == 2_000
    assert sums.replacing_minor(CASE, bench()) == pytest.approx(3_182)
    assert sums.is_mended(CASE, bench())
    assert not sums.is_mended(CASE, bench(ceiling=0.62))
    assert sums.is_mended(CASE, bench(ceiling=0.63))
    assert sums.load([CASE], bench()) == pytest.approx(4 * 30 / 300)


def test_one_kind_of_frame_costs_and_gives_what_it_must() -> None:
    """All ground: about 1,000 frames of 18 g of flake a year; nobody waits long at 8 % of load."""
    found = simulate([CASE] * CASES_MIN, bench(ceiling=0.0), seed=3)
    assert found.load == pytest.approx(0.08)
    assert found.recovered_mg.middle == pytest.approx(250 * 4 * 18_000, rel=0.03)
    assert found.recovered_mg.low < found.recovered_mg.middle < found.recovered_mg.high
    assert found.cost_a_frame_minor.middle == pytest.approx(3_182)
    assert found.promise_kept.middle == 1.0
    assert (found.repair_share.low, found.repair_share.high) == (0.0, 0.0)


def test_promise_is_kept_less_often_when_more_come_and_more_often_with_a_hand_more() -> None:
    now = simulate([CASE] * CASES_MIN, bench(promise_days=6, returns_a_day=6), seed=3)
    twice = simulate([CASE] * CASES_MIN, bench(promise_days=6, returns_a_day=12), seed=3)
    helped = simulate([CASE] * CASES_MIN, bench(promise_days=6, returns_a_day=12, hands=2), seed=3)
    assert twice.load > 1 > now.load == helped.load
    assert twice.promise_kept.middle < 0.5 < now.promise_kept.middle
    assert helped.promise_kept.middle > 0.9
    assert helped.wait_days.middle < now.wait_days.middle < twice.wait_days.middle


def test_same_seed_gives_the_same_year() -> None:
    cases = [CASE] * CASES_MIN
    assert simulate(cases, bench(), seed=5, runs=5) == simulate(cases, bench(), seed=5, runs=5)
    assert simulate(cases, bench(), seed=6, runs=5) != simulate(cases, bench(), seed=5, runs=5)


def test_too_few_frames_or_too_many_a_day_are_said() -> None:
    with pytest.raises(NotEnoughEvidence):
        simulate([CASE] * (CASES_MIN - 1), bench(), seed=1)
    with pytest.raises(InputRefused):
        simulate([CASE] * CASES_MIN, bench(returns_a_day=1_000), seed=1)
    with pytest.raises(InputRefused):
        bench(pace=0)


@pytest.fixture
def olga_in(client: Client, olga: User) -> Client:
    client.force_login(olga)
    return client


@pytest.mark.django_db
@pytest.mark.usefixtures("still_clock")
def test_page_says_how_many_frames_are_missing_and_then_compares(
    olga_in: Client, shop: Books, olga: User
) -> None:
    page = olga_in.get("/owner/what-if/").content.decode()
    assert "Not enough evidence" in page
    for _frame in range(CASES_MIN):
        made.graded(made.posted(shop), olga, ("arm_left", "snapped"))
    asked = "/owner/what-if/?hands_now=1&hands=2&promise_days=21&returns=2&pace=1&ceiling=120"
    page = olga_in.get(f"{asked}&labour=30&new_frame=25").content.decode()
    matter = re.sub(r"<[^>]+>|\s+", " ", page.split("</nav>")[-1])
    assert "As it would be" in page, matter
    assert re.search(r"Promise kept.*%", page, re.S)
    assert olga_in.get("/owner/what-if/?hands=0").status_code == 400
    assert olga_in.get("/owner/what-if/?hands_now=%C2%B2").status_code == 400

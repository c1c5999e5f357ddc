"""From any figure to what moved it, to its postings, and on to the frame, box or lot."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.models import Movement, PlaceKind, Reading
from inventory.months.queries import recovered
from inventory.months.queries.recovered.comparison import Comparison, compare
from inventory.months.queries.replays import replayed
from inventory.weighing.queries import readings
from inventory.weighing.sums.traced import MassUncertainty
from tests import furnished
from tests.inventory.month_makers import (
    DEC_2,
    NOV,
    at,
    box,
    furnished_october,
    move,
    stripped,
    weighed_in,
)
from tests.makers import Shop

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _early_december() -> Iterator[None]:
    with time_machine.travel(DEC_2, tick=False):
        yield


@pytest.fixture
@furnished.once
def november(shop: Shop) -> dict[str, Movement]:
    """October as furnished; in November one frame less is worth a second, smaller credit."""
    moved = furnished_october(shop)
    weighed_in("F-BBBB-3333", 18_300, at_=NOV)
    moved["strip_nov"] = stripped(shop, "F-BBBB-3333", "18.300 g", at_=NOV)
    moved["feed_nov"] = move(
        "receive_feedstock", (at(PlaceKind.SELLERS), box(shop), 40_000), at=NOV, cost_minor=40
    )
    return moved


def figure(key: str, label: str = "2026-11", before: str = "2026-10") -> Comparison:
    replays = replayed([label, before])
    now, then = (recovered.of_month(name, replays[name]) for name in (label, before))
    return next(one for one in compare(now, then, replays) if one.key == key)


def test_a_flow_is_explained_by_class_and_by_its_biggest_movements(
    november: dict[str, Movement],
) -> None:
    credited = figure("credited")
    assert (credited.now, credited.before, credited.difference) == (18_300, 19_400, -1_100)
    (cause,) = credited.causes
    assert (cause.column, cause.now, cause.before, cause.change) == (
        "credited",
        18_300,
        19_400,
        -1_100,
    )
    # October had more of it, so its movement is named.
    assert cause.label == "2026-10"
    assert [one.number for one in cause.biggest] == [november["strip"].number]
    assert credited.rest == 0


def test_closing_stock_is_explained_by_the_months_own_flows(november: dict[str, Movement]) -> None:
    closing = figure("closing")
    assert closing.difference == 18_300 + 40_000
    assert [(cause.column, cause.change) for cause in closing.causes] == [
        ("feedstock", 40_000),
        ("credited", 18_300),
    ]
    assert closing.rest == 0
    assert [one.number for one in closing.causes[0].biggest] == [november["feed_nov"].number]


def test_a_difference_is_known_by_the_readings_of_both_months(
    november: dict[str, Movement],
) -> None:
    """Derived by hand. Each reading: own part 1 mg / sqrt(6), shared part 10 mg / sqrt(3).

    Both credits were read on one scale between two checks, so their shared parts cancel. What
    parts two closings is November's own reading and 40 g that nobody weighed, however much lay
    there at both ends.
    """
    credited, closing = figure("credited").known_difference, figure("closing").known_difference
    assert credited is not None
    assert credited.expanded_ug == pytest.approx(2000 * (2 / 6) ** 0.5, abs=2)
    assert closing is not None
    assert closing.expanded_ug == pytest.approx(2000 * (1 / 6 + 100 / 3) ** 0.5, abs=2)
    assert (closing.booked_mg, closing.readings) == (40_000, 1)
    (one,) = figure("credited").causes[0].biggest
    assert one.known == readings.known(november["strip"].postings.get(line=1).reading)


@pytest.mark.usefixtures("november")
@pytest.mark.parametrize("key", ["credited", "losses", "issued", "closing", "carried"])
def test_causes_and_rest_come_to_the_difference(key: str) -> None:
    data = figure(key)
    assert sum(cause.change for cause in data.causes) + data.rest == data.difference
    assert bool(data.causes) == bool(data.difference)


def page(client: Client, who: User, name: str, *args: object, **query: str) -> str:
    client.force_login(who)
    answer = client.get(reverse(name, args=args), query)
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_month_says_what_moved_each_figure(
    client: Client, acke: User, november: dict[str, Movement]
) -> None:
    text = page(client, acke, "month", "2026-11")
    plain = " ".join(re.sub(r"<[^>]*>", "", text).split())
    within = r"±plus or minus 0\.012 g \(k = 2\)"
    assert re.search(rf"18\.30 g {within} instead of 19\.40 g {within}\.", plain)
    assert re.search(rf"F-AAAA-1111 19\.40 g {within}", plain)
    assert "Biggest in 2026-10:" in text
    assert reverse("movement", args=[november["strip"].number]) in text


def test_a_figure_leads_to_its_frame_in_words(
    client: Client, acke: User, november: dict[str, Movement]
) -> None:
    text = page(client, acke, "month-figure", "2026-10", box_code(), "credited")
    assert "Regrind box, PP · Slate · post-consumer return" in text
    assert reverse("frame", args=["F-AAAA-1111"]) in text
    assert "Credited from returns" in text
    assert "<h1>" in text


def box_code() -> str:
    return "box-pp-slate-post_consumer_return"


def test_a_movement_leads_to_its_lot_and_shows_how_well_each_mass_is_known(
    client: Client, acke: User, november: dict[str, Movement]
) -> None:
    text = page(client, acke, "movement", november["strip"].number)
    assert reverse("frame", args=["F-AAAA-1111"]) in text
    assert "(k = 2)" in text
    assert "not weighed" in text
    issued = page(client, acke, "movement", november["issue"].number)
    assert reverse("heat", args=["L-2345-6789"]) in issued


def test_a_run_is_no_link_for_who_may_not_open_it(
    client: Client, acke: User, olga: User, november: dict[str, Movement]
) -> None:
    address = reverse("run", args=["G-2222-3333"])
    number = november["grind"].number
    assert address not in page(client, acke, "movement", number)
    assert address in page(client, olga, "movement", number)


def test_a_box_leads_to_all_movements_that_touch_it(
    client: Client, acke: User, november: dict[str, Movement]
) -> None:
    text = page(client, acke, "movements", subject=box_code())
    for name in ("strip", "grind", "strip_nov"):
        assert reverse("movement", args=[november[name].number]) in text
    assert reverse("movement", args=[november["hold"].number]) not in text


def test_both_months_say_how_well_their_masses_are_known(november: dict[str, Movement]) -> None:
    for key in ("credited", "losses", "issued", "closing"):
        data = figure(key)
        assert data.known == recovered.of_month("2026-11").total.known_of(key)
        assert data.known_before == recovered.of_month("2026-10").total.known_of(key)
    # October's losses are what went into the box less the flake: 100 g typed as opening stock and
    # 19.4 g weighed, less 117 g of flake that was typed too; dust and purge stand on both sides.
    lost = figure("losses").known_before
    assert lost is not None
    assert (lost.booked_mg, lost.readings) == (100_000 + 117_000, 1)


def test_what_no_cause_accounts_for_says_how_well_it_is_known_too(
    client: Client, acke: User, november: dict[str, Movement]
) -> None:
    """October's closing beside September's: bought 500 g, issued 50 g, credited 19.4 g; the rest
    is a count of 2 g, and dust, purge and the run's difference, which together are what lay in the
    box, 100 g typed and 19.4 g weighed, less 117 g of flake that was typed too."""
    closing = figure("closing", "2026-10", "2026-09")
    assert closing.rest == -4_400
    weighed = Reading.objects.get(mass_mg=19_400)
    expanded_ug = readings.known(weighed).expanded_ug
    assert closing.known_rest == MassUncertainty(expanded_ug, 2_000 + 100_000 + 117_000, 1)
    text = re.sub(r"<[^>]+>", "", page(client, acke, "month", "2026-10"))
    words = r"All else together: \u22124.40 g ±plus or minus [\d.]+ g \(k = 2\) with 219.00 g not"
    assert re.search(words, re.sub(r"\s+", " ", text))


def test_display_has_one_minus_sign(
    client: Client, acke: User, november: dict[str, Movement]
) -> None:
    for name, args in (("month", ["2026-11"]), ("month-report", ["2026-10"]), ("movements", [])):
        shown = re.sub(r"<[^>]+>", " ", page(client, acke, name, *args))
        assert not re.search(r"(?<![\w-])-\d", shown)
    assert "\u2212" in page(client, acke, "month", "2026-11")

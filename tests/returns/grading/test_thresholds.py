"""What is said of how far the numbers behind a decision may be off. Figures are constructed."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from returns.grading.pages import thresholds
from returns.grading.queries.facts import Seen
from returns.grading.rules import lookover
from returns.grading.rules.lookover import Look
from returns.grading.sums import Number
from returns.grading.sums.sensitivity import Way
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import filed, on_shelf

ONE: dict[str, Any] = {
    "number": "minutes",
    "part": "",
    "remedy": "new-arm",
    "name": "New arm",
    "component": "arm_left",
    "now": 9.5,
    "at": 15,
    "then": "replace",
    "off_ppm": 578_947,
}


def row(**changes: Any) -> dict[str, str]:
    (found,) = thresholds.rows([ONE | changes], "EUR", {"arm-avocet": "Arm, Avocet"})
    return found


def test_sentence_says_from_where_on_another_way_wins() -> None:
    assert row() == {
        "words": "If the bench time of “New arm” (left arm) were 15 min or more, mending would "
        "not pay.",
        "now": "9.5 min",
        "off": "57.9 %",
    }


def test_below_todays_value_it_says_or_less_and_money_and_shares_have_their_units() -> None:
    odds = row(number="odds_ppm", now=900_000, at=579_000, then="wait")
    assert odds["words"].endswith("57.9 % or less, it would wait for parts to be mended.")
    part = row(number="part_minor", part="arm-avocet", now=160, at=1200)
    assert part["words"].startswith("If the price of one Arm, Avocet were 12.00 EUR or more")
    assert part["now"] == "1.60 EUR"


def test_numbers_that_never_tip_are_named_in_one_sentence() -> None:
    sure = ONE | {"at": None, "then": None, "off_ppm": None}
    wage = sure | {"number": "labour_minor_per_hour", "name": "", "component": ""}
    assert thresholds.rows([sure, wage], "EUR", {}) == []
    assert thresholds.never([sure, ONE, wage], {}).endswith(
        "the decision: the bench time of “New arm” (left arm); the cost of an hour at the bench."
    )
    assert thresholds.never([ONE], {}) == ""


def test_every_number_and_every_way_has_its_words() -> None:
    assert set(thresholds.NUMBERS) == {number.value for number in Number}
    assert set(thresholds.THEN) == {way.value for way in Way}


@pytest.mark.django_db
def test_frame_page_shows_them_folded_below_the_sums(shop: Shop, bea: User, client: Client) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate))
    seen = Look(findings=(Seen("arm_left", "snapped"),), polymer="ours")
    lookover.grade(key=key(), frame=frame, look=seen, at=NOON, by=bea)
    client.force_login(bea)
    page = client.get(reverse("frame", args=[frame.tag])).content.decode()
    assert "How far off may these numbers be?" in page
    assert "Up to four times today&#x27;s value none of these changes the decision" in page
    assert "If the cost of making a new frame were 1.88 EUR or less, mending would not pay." in page

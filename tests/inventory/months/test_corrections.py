"""A reversal of what a closed month holds is told by both months, and leaves its digest alone."""

from __future__ import annotations

import json

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.ledger.rules import reversing
from inventory.models import Month, Movement
from inventory.months import rules as months
from inventory.months.queries import audit, recovered
from inventory.months.queries.recovered import corrections
from inventory.months.reports import document, files
from tests.inventory import month_makers as made
from tests.inventory.month_makers import DEC_2, NOV, OCT, box
from tests.makers import Shop, key

pytestmark = [pytest.mark.django_db, pytest.mark.edge]

REASON = "counted the wrong box"


@pytest.fixture
def undone(shop: Shop, acke: User) -> Movement:
    """October is closed with a purchase at 4.50; in November the accountant takes it back."""
    moved = made.furnished_october(shop)
    for label in ("2026-08", "2026-09", "2026-10"):
        months.close(key=key(), label=label, at=DEC_2, by=None)
    count = moved["count"]
    return reversing.reverse(key=key(), movement=count, reason=REASON, at=NOV, by=acke)


def test_correcting_month_lists_what_it_corrects(undone: Movement, acke: User) -> None:
    (one,) = recovered.of_month("2026-11").corrections
    assert (one.number, one.reverses, one.corrects) == (
        undone.number,
        undone.reverses.number,
        "2026-10",
    )
    assert (one.mass_mg, one.cost_minor, one.reason, one.actor) == (2_000, 0, REASON, acke.pk)
    figures = json.loads(recovered.canonical(recovered.of_month("2026-11")))
    assert figures["corrections"][0]["reason"] == REASON


def test_corrected_month_says_so_and_keeps_its_digest(undone: Movement) -> None:
    closed = Month.objects.get(label="2026-10")
    assert recovered.digest(recovered.of_month("2026-10")) == closed.figures["report"]
    assert [one.number for one in corrections.made_to("2026-10")] == [undone.number]
    assert all(check.ok for check in audit.check())


def test_late_fact_of_a_closed_month_is_told_by_it_too(shop: Shop, undone: Movement) -> None:
    late = made.move(
        "count_mass", (made.at(made.PlaceKind.UNEXPLAINED), box(shop), 7), at=OCT, reason="late"
    )
    assert late.belongs_to == "2026-10"
    told = corrections.made_to("2026-10")
    assert [(one.number, one.reverses) for one in told][-1] == (late.number, None)


def test_reversal_within_its_month_corrects_no_other(shop: Shop, acke: User) -> None:
    count = made.furnished_october(shop)["count"]
    reversing.reverse(key=key(), movement=count, reason=REASON, at=OCT, by=acke)
    assert recovered.of_month("2026-10").corrections == ()
    assert corrections.made_to("2026-10") == ()


@pytest.mark.parametrize("name", ["month", "month-report"])
def test_both_months_pages_tell_it(client: Client, undone: Movement, acke: User, name: str) -> None:
    client.force_login(acke)
    corrected = client.get(reverse(name, args=["2026-10"])).content.decode()
    assert "Changed since closing" in corrected
    correcting = client.get(reverse(name, args=["2026-11"])).content.decode()
    assert "Corrects earlier months" in correcting
    for text in (corrected, correcting):
        assert REASON in text
        assert acke.username in text
        assert reverse("movement", args=[undone.number]) in text


def test_later_prints_and_data_carry_it(undone: Movement) -> None:
    report = recovered.of_month("2026-10")
    closed = Month.objects.get(label="2026-10")
    facts = document.facts(report, closed, "en")
    assert [told.it.number for told in facts["changed"]] == [undone.number]
    data = json.loads(files.FORMATS["json"].make(report))
    assert [one["number"] for one in data["changed_since_closing"]] == [undone.number]
    assert data["figures_sha256"] == closed.figures["report"]

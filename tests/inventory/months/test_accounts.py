"""The accountant's pages: who may see them, the way to a close, the report and its evidence."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from django.utils import timezone, translation

from inventory import outbox
from inventory.furniture.numbers import uncertainty_g
from inventory.ledger.queries import naming
from inventory.material.queries import boxes
from inventory.models import GrindRun, Month, Movement, OutboxMessage, Part, PlaceKind, ReportFile
from inventory.months import rules as months
from inventory.months.queries import recovered
from inventory.months.reports import pdf_files
from inventory.parts import rules as stock
from tests import furnished
from tests.inventory import month_makers as made
from tests.inventory.month_makers import DEC_2, OCT
from tests.makers import NOON, Shop, key

pytestmark = pytest.mark.django_db
BOX = "box-pp-slate-post_consumer_return"


@pytest.fixture(autouse=True)
def _early_december() -> Iterator[None]:
    with time_machine.travel(datetime(2026, 12, 2, 9, 0, tzinfo=UTC), tick=False):
        yield


@pytest.fixture
@furnished.once
def books(shop: Shop) -> dict[str, Movement]:
    """October furnished, August and September closed."""
    moved = made.furnished_october(shop)
    for label in ("2026-08", "2026-09"):
        months.close(key=key(), label=label, at=DEC_2, by=None)
    return moved


@pytest.fixture
def page(client: Client, acke: User) -> Client:
    client.force_login(acke)
    return client


def text_of(page: Client, name: str, *args: object, status: int = 200, **query: str) -> str:
    response = page.get(reverse(name, args=args), query)
    assert response.status_code == status
    return response.content.decode()


PAGES = [
    ("months", []),
    ("month", ["2026-10"]),
    ("month-close", ["2026-10"]),
    ("month-report", ["2026-10"]),
    ("month-pdf", ["2026-10"]),
    ("month-figure", ["2026-10", BOX, "credited"]),
    ("movements", []),
    ("movement", [1]),
]


@pytest.mark.parametrize(("name", "args"), PAGES)
def test_accountant_and_owner_may_enter_bench_and_strangers_may_not(
    books: object, client: Client, request: pytest.FixtureRequest, name: str, args: list[object]
) -> None:
    address = reverse(name, args=args)
    assert client.get(address).status_code == 302
    people = [request.getfixturevalue(person) for person in ("acke", "olga", "bea")]
    for person, status in zip(people, (200, 200, 403), strict=True):
        client.force_login(person)
        assert client.get(address).status_code == status


@pytest.mark.parametrize(("name", "args"), PAGES)
def test_no_inline_style_or_script_in_any_page(
    books: object, page: Client, name: str, args: list[object]
) -> None:
    text = text_of(page, name, *args)
    assert "style=" not in text
    assert "<style" not in text
    assert "onclick" not in text


def test_list_names_every_month_with_its_state(books: object, page: Client) -> None:
    text = text_of(page, "months")
    for label in ("2026-08", "2026-09", "2026-10", "2026-11", "2026-12"):
        assert reverse("month", args=[label]) in text
    assert text.count("state-closed") == 2
    assert Month.objects.get(label="2026-09").digest[:12] in text


def test_list_says_how_well_each_closing_is_known(books: object, shop: Shop, page: Client) -> None:
    """What was frozen at the close: typed opening stock, and what a frame's strip-down added."""
    made.weighed_in("F-CCCC-4444", 18_300, at_=made.NOV)
    made.stripped(shop, "F-CCCC-4444", "18.300 g", at_=made.NOV)
    for label in ("2026-10", "2026-11"):
        months.close(key=key(), label=label, at=DEC_2, by=None)
    rows = re.findall(r"<tr>.*?</tr>", text_of(page, "months"), re.DOTALL)
    of = {label: row for row in rows for label in ("2026-09", "2026-11") if f">{label}<" in row}
    assert "not weighed" in of["2026-09"]
    closing = recovered.of_month("2026-11").known_of("total", "closing")
    assert closing is not None
    assert closing.readings == 1
    assert uncertainty_g(closing.expanded_ug) in of["2026-11"]


@pytest.mark.parametrize("label", ["2026-07", "2027-01", "nothing", "2026-13"])
@pytest.mark.parametrize("name", ["month", "month-report", "month-close", "month-pdf"])
def test_month_without_books_is_not_found(
    books: object, page: Client, name: str, label: str
) -> None:
    text_of(page, name, label, status=404)


def test_month_offers_to_close_when_nothing_is_open(books: object, page: Client) -> None:
    assert reverse("month-close", args=["2026-10"]) in text_of(page, "month", "2026-10")


def test_month_names_what_is_open_and_links_to_it(
    books: object, shop: Shop, page: Client, bea: User
) -> None:
    GrindRun.objects.create(
        code="G-2345-6789",
        box=made.box(shop),
        box_mg=1,
        box_movement=1,
        proposed_by=bea,
        proposed_at=OCT,
    )
    text = text_of(page, "month", "2026-10")
    assert "Grind run G-2345-6789" in text
    assert reverse("month-close", args=["2026-10"]) not in text


def test_next_month_points_to_the_one_before_it(books: object, page: Client) -> None:
    text = text_of(page, "month", "2026-11")
    assert "the next one is 2026-10" in text
    assert f'href="{reverse("month", args=["2026-10"])}"' in text


def closing(page: Client, **changes: str) -> object:
    form = {"key": str(key()), "sure": "on"} | changes
    return page.post(reverse("month-close", args=["2026-10"]), form)


def test_closing_needs_to_be_confirmed(books: object, page: Client) -> None:
    assert closing(page, sure="").status_code == 200
    assert not Month.objects.filter(label="2026-10").exists()


def test_confirmed_close_closes_once(books: object, page: Client, acke: User) -> None:
    same = str(key())
    for _again in range(2):
        assert closing(page, key=same).status_code == 302
    assert Month.objects.get(label="2026-10").closed_by == acke
    text = text_of(page, "month", "2026-10")
    assert Month.objects.get(label="2026-10").digest in text


def test_close_that_is_refused_says_why(books: object, shop: Shop, page: Client, bea: User) -> None:
    GrindRun.objects.create(
        code="G-2345-6789",
        box=made.box(shop),
        box_mg=1,
        box_movement=1,
        proposed_by=bea,
        proposed_at=OCT,
    )
    response = closing(page)
    assert response.status_code == 200
    assert "G-2345-6789" in response.content.decode()
    assert not Month.objects.filter(label="2026-10").exists()


def test_figures_in_short_and_against_last_month(books: object, page: Client) -> None:
    text = text_of(page, "month", "2026-10")
    assert "19.40 g" in text
    assert "Against 2026-09" in text
    assert "565.00 g" in text


def test_report_links_every_figure_to_its_evidence(books: object, page: Client) -> None:
    text = text_of(page, "month-report", "2026-10")
    assert reverse("month-figure", args=["2026-10", BOX, "credited"]) in text
    assert reverse("month-figure", args=["2026-10", "total", "issued"]) in text
    assert recovered.digest(recovered.of_month("2026-10")) in text
    assert 'role="img"' in text


@pytest.mark.parametrize(
    ("row", "column", "name"),
    [(BOX, "credited", "strip"), ("total", "issued", "issue"), ("frames", "held", "hold")],
)
def test_figure_lists_its_movements(
    books: dict[str, Movement], page: Client, row: str, column: str, name: str
) -> None:
    text = text_of(page, "month-figure", "2026-10", row, column)
    assert reverse("movement", args=[books[name].number]) in text


def test_balance_has_no_postings_of_its_own(books: object, page: Client) -> None:
    assert "is a balance" in text_of(page, "month-figure", "2026-10", BOX, "opening")


@pytest.mark.parametrize(("row", "column"), [("nowhere", "credited"), (BOX, "nothing")])
def test_figure_that_the_report_has_not_is_not_found(
    books: object, page: Client, row: str, column: str
) -> None:
    text_of(page, "month-figure", "2026-10", row, column, status=404)


STEM = "recovered-material-2026-10-tidewrack-frames"


@pytest.mark.parametrize(
    ("ending", "media_type", "start"),
    [
        (".csv", "text/csv", b"section,"),
        ("-postings.csv", "text/csv", b"movement,"),
        (".csv-metadata.json", "application/csvm+json", b"{"),
        ("-postings.csv-metadata.json", "application/csvm+json", b"{"),
        (".xlsx", "application/vnd.openxmlformats", b"PK"),
        (".json", "application/json", b"{"),
    ],
)
def test_files_are_fetched_under_their_names(
    books: object, page: Client, ending: str, media_type: str, start: bytes
) -> None:
    response = page.get(reverse("month-file", args=["2026-10", STEM + ending]))
    assert response.status_code == 200
    assert response.content.startswith(start)
    assert response.headers["Content-Type"].startswith(media_type)
    assert response.headers["Content-Disposition"] == f'attachment; filename="{STEM}{ending}"'
    assert response.headers["Cache-Control"] == "no-store"


def test_csv_points_to_its_description(books: object, page: Client) -> None:
    response = page.get(reverse("month-file", args=["2026-10", f"{STEM}.csv"]))
    assert response.headers["Link"].startswith(f"<{STEM}.csv-metadata.json>")


@pytest.mark.parametrize("name", ["other.csv", f"{STEM}.exe", "..%2Fsecret"])
def test_other_file_names_are_not_found(books: object, page: Client, name: str) -> None:
    text_of(page, "month-file", "2026-10", name, status=404)


@pytest.mark.parametrize(
    ("waits", "facts", "may_ask"),
    [
        (pdf_files.STALLED_AFTER, {}, False),
        (pdf_files.STALLED_AFTER + timedelta(seconds=1), {}, True),
        (timedelta(seconds=1), {"given_up_at": NOON}, True),
    ],
)
def test_pdf_that_nobody_makes_can_be_asked_for_anew(
    books: object, acke: User, waits: timedelta, facts: dict[str, Any], may_ask: bool
) -> None:
    asked = pdf_files.ask(key=key(), label="2026-10", at=NOON, by=acke)
    OutboxMessage.objects.filter(topic="report.pdf").update(**facts)
    assert pdf_files.has_stalled(asked, NOON + waits) is may_ask


def test_pdf_is_asked_for_watched_and_fetched(books: object, page: Client, acke: User) -> None:
    address = reverse("month-pdf", args=["2026-10"])
    assert page.post(address, {"key": str(key())}).status_code == 302
    assert "0 %" in text_of(page, "month-pdf", "2026-10")
    assert 'hx-trigger="every 2s"' in text_of(page, "month-pdf", "2026-10")
    assert outbox.settle(OutboxMessage.objects.get(topic="report.pdf").pk, at=timezone.now())
    asked = ReportFile.objects.get()
    assert asked.asked_by == acke
    link = reverse("month-pdf-file", args=["2026-10", asked.key])
    assert link in text_of(page, "month-pdf", "2026-10")
    response = page.get(link)
    assert b"".join(response.streaming_content).startswith(b"%PDF-")
    assert STEM in response.headers["Content-Disposition"]


def test_htmx_gets_the_status_alone(books: object, page: Client) -> None:
    response = page.get(reverse("month-pdf", args=["2026-10"]), headers={"HX-Request": "true"})
    assert b"<html" not in response.content
    assert b'id="pdf-status"' in response.content


def test_pdf_that_is_not_ready_is_not_found(books: object, page: Client) -> None:
    page.post(reverse("month-pdf", args=["2026-10"]), {"key": str(key())})
    text_of(page, "month-pdf-file", "2026-10", ReportFile.objects.get().key, status=404)


def test_asking_without_an_id_is_no_error(books: object, page: Client) -> None:
    assert page.post(reverse("month-pdf", args=["2026-10"]), {}).status_code == 302
    assert not ReportFile.objects.exists()


def test_movements_are_filtered(books: dict[str, Movement], page: Client) -> None:
    text = text_of(page, "movements", kind="strip_down", month="2026-10", subject="AAAA")
    assert reverse("movement", args=[books["strip"].number]) in text
    assert reverse("movement", args=[books["issue"].number]) not in text


@pytest.mark.parametrize("query", [{"month": "soon"}, {"kind": "nothing"}, {"page": "no"}])
def test_odd_filters_are_no_error(books: object, page: Client, query: dict[str, str]) -> None:
    assert page.get(reverse("movements"), query).status_code == 200


def test_movement_shows_its_postings_and_reading(books: dict[str, Movement], page: Client) -> None:
    text = text_of(page, "movement", books["strip"].number)
    assert "“19.400 g” on Fine scale" in text
    assert BOX in text


def test_list_says_of_every_mass_how_well_it_is_known(
    books: dict[str, Movement], page: Client
) -> None:
    """19.400 g was read on the scale; the flake that moulding took stands for opening stock."""
    text = text_of(page, "movements", month="2026-10")
    strip, issue = (_row(text, books[name].number) for name in ("strip", "issue"))
    assert re.search(r"19\.40 g</span>\s*<span class=\"spread\">.*?±.*? g .*?k = 2", strip, re.S)
    assert "not weighed" in issue


def _row(text: str, number: int) -> str:
    return text.partition(f'href="{reverse("movement", args=[number])}"')[2].partition("</tr>")[0]


@pytest.mark.parametrize("number", [0, 99_999, 10**30])
def test_movement_that_is_not_there_is_not_found(page: Client, number: int) -> None:
    text_of(page, "movement", number, status=404)


def test_reversal_is_posted_with_its_reason_and_linked(
    books: dict[str, Movement], page: Client, acke: User
) -> None:
    issue = books["issue"]
    address = reverse("movement", args=[issue.number])
    form = {"key": str(key()), "reason": "wrong lot"}
    assert page.post(address, form).status_code == 302
    undone = Movement.objects.get(reverses=issue)
    assert (undone.reason, undone.actor) == ("wrong lot", acke)
    assert page.post(address, form).status_code == 302
    assert Movement.objects.filter(reverses=issue).count() == 1
    assert reverse("movement", args=[undone.number]) in text_of(page, "movement", issue.number)
    assert reverse("movement", args=[issue.number]) in text_of(page, "movement", undone.number)


def test_reversal_without_a_reason_is_refused(books: dict[str, Movement], page: Client) -> None:
    address = reverse("movement", args=[books["issue"].number])
    response = page.post(address, {"key": str(key()), "reason": " "})
    assert response.status_code == 200
    assert not Movement.objects.exclude(reverses=None).exists()


def test_reversal_that_would_overdraw_a_place_says_so(
    books: dict[str, Movement], page: Client
) -> None:
    part = Part.objects.create(code="pin", name="Pin")
    at = timezone.now()
    came = stock.receive(key=key(), part=part, pieces=5, cost_minor=0, at=at)
    stock.count(key=key(), part=part, counted=2, reason="three are gone", at=at)
    address = reverse("movement", args=[came.number])
    response = page.post(address, {"key": str(key()), "reason": "never came"})
    assert response.status_code == 200
    assert "it holds 2 pieces, and this would take 5 pieces out" in response.content.decode()


def test_box_that_would_be_overdrawn_is_named_in_the_words_of_the_page_and_its_language(
    books: dict[str, Movement], page: Client, shop: Shop
) -> None:
    box = made.box(shop)
    came = made.move("receive_feedstock", (made.at(PlaceKind.SELLERS), box, 900_000))
    made.move("grind", (box, made.at(PlaceKind.DUST), boxes.held_mg(box) - 400), subject="G-1")
    address = reverse("movement", args=[came.number])
    form = {"key": str(key()), "reason": "never came"}
    english = page.post(address, form).content.decode()
    assert f"{naming.words(box)}: it holds 0.400 g, and this would take 900.000 g out." in english
    german = page.post(address, form, headers={"accept-language": "de"}).content.decode()
    with translation.override("de"):
        assert naming.words(box).startswith("Kiste PP Slate")
        assert f"{naming.words(box)}: Hier liegen 0,400 g" in german
        assert "900,000 g" in german
    assert f"{box.code} " not in english + german


def test_movement_of_a_story_is_not_reversed_by_hand(
    books: dict[str, Movement], page: Client
) -> None:
    address = reverse("movement", args=[books["strip"].number])
    answer = page.post(address, {"key": str(key()), "reason": "a slip"})
    assert "part of the story" in answer.content.decode()
    assert not Movement.objects.exclude(reverses=None).exists()
    assert "Reverse this movement" not in page.get(address).content.decode()

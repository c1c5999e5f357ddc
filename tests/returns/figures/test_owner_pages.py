"""The owner's pages: figures, downloads, claims, lifetimes, sales lists, tokens."""

from __future__ import annotations

import csv
import io
import re
import uuid
from datetime import UTC, datetime
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from inventory.models import AccessToken, Event
from inventory.months.sums.calendar_month import Month
from returns.figures.circularity.pages.tables import Table, words
from returns.figures.lifetimes.queries.lifetimes import cohorts
from returns.figures.span.queries import Scope
from returns.models import FrameModel, SoldUnits
from tests.makers import Shop
from tests.returns import owner_makers as made

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("still_clock")]

NOW = datetime(2026, 10, 20, 9, 0, tzinfo=UTC)
PAGES = ["/owner/", "/owner/claims/", "/owner/lifetimes/", "/owner/sold/", "/owner/tokens/"]
TABLES = [
    "figures",
    "returns",
    "losses",
    "content",
    "reasons",
    "turnaround",
    "inflow",
    "outflow",
    "streams",
    "yields",
    "models",
]
LIFETIME_TABLES = [
    "curve",
    "causes",
    "incidence",
    "forecast",
    "back-tests",
    "outstanding",
    "triangle",
    "masses",
    "kits",
    "cause-fits",
    "part-months",
]
GOOD = b"batch,month,pieces\nAV-2601,2026-02,30\nAV-2601,2026-03,25\n"


@pytest.fixture
def books(shop: Shop, olga: User) -> Shop:
    """A workshop with sales, mended and boxed frames, findings and issues."""
    made.sold(shop.batch, m2026_02=40, m2026_04=40, m2026_10=0)
    for _ in range(2):
        made.graded(made.posted(shop), olga, ("arm_left", "snapped"))
        made.graded(made.boxed(shop), olga, ("front", "cracked"))
    made.issued(shop, "post_consumer_return", 15_000)
    made.issued(shop, "in_process", 4_000)
    return shop


@pytest.fixture
def aged(shop: Shop, olga: User) -> Shop:
    """Eight months of sales; of each, two come back after one month and one after two."""
    for month in range(1, 9):
        made.sold(shop.batch, **{f"m2026_{month:02d}": 100})
        for age, frames in ((1, 2), (2, 1)):
            if month + age <= 9:
                at = datetime(2026, month + age, 10, 12, tzinfo=UTC)
                for _ in range(frames):
                    made.graded(made.frame(shop, at=at), olga, ("front", "cracked"), at=at)
    return shop


def test_lifetimes_are_drawn_with_their_number_at_risk(owner: Client, aged: Shop) -> None:
    page = text(owner.get("/owner/lifetimes/"))
    assert page.count('class="chart-svg"') == page.count("chart-narrow") == 4
    assert "Frames at risk" in page
    assert "The axis starts at" in page


def test_forecasts_on_the_past_are_told_in_words(owner: Client, aged: Shop) -> None:
    page = plain(owner.get("/owner/lifetimes/"))
    found = re.findall(
        r"Forecast (\d) months? ahead: what came lay within the 90 % limits in (\d) of (\d) months",
        page,
    )
    assert [lead for lead, _covered, _months in found] == ["3", "2", "1"]
    assert all(int(covered) <= int(months) for _lead, covered, months in found)


def test_what_is_still_to_come_is_told_by_month_of_sale(owner: Client, aged: Shop) -> None:
    page = plain(owner.get("/owner/lifetimes/"))
    assert "more first returns are expected before age 8 months" in page
    rows = list(
        csv.DictReader(io.StringIO(text(owner.get("/owner/lifetimes/table/outstanding.csv"))))
    )
    # Not every month of sale is laid a return by age 1, so August, no older, has no row; one of the
    # 7 * 3 + 2 returns is laid on it.
    assert [row["month"] for row in rows] == [f"2026-{month:02d}" for month in range(1, 8)]
    assert "Months of sale left out, too young or before a month without sales: 2026-08" in page
    found = cohorts(Scope(), as_of=Month(2026, 9))
    assert found.returned == 7 * 3 + 2
    assert any(cohort.returned_by_age[0] == 0 for cohort in found.cohorts)
    assert sum(found.cohorts[-1].returned_by_age) == 1
    assert sum(int(row["known"]) for row in rows) == 7 * 3 + 1
    assert float(rows[0]["outstanding"]) == 0
    assert float(rows[-1]["outstanding"]) > 0
    for row in rows:
        known, expected = float(row["known"]), float(row["expected"])
        assert expected - known == pytest.approx(float(row["outstanding"]), abs=2e-6)


def text(answer: Any) -> str:
    return str(answer.content.decode())


def plain(answer: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text(answer)))


@pytest.mark.parametrize("path", [*PAGES, "/owner/table/returns.csv", "/owner/sold/template.csv"])
@pytest.mark.parametrize("who", ["bea", "acke"])
def test_other_roles_are_refused(
    client: Client, request: pytest.FixtureRequest, path: str, who: str
) -> None:
    client.force_login(request.getfixturevalue(who))
    assert client.get(path).status_code == 403


@pytest.mark.parametrize("path", PAGES)
def test_strangers_go_to_the_entrance(client: Client, db: None, path: str) -> None:
    assert client.get(path)["Location"] == f"/enter/?next={path}"


@pytest.mark.parametrize("path", PAGES)
def test_every_page_stands_in_an_empty_workshop(owner: Client, path: str) -> None:
    answer = owner.get(path)
    assert answer.status_code == 200
    assert " style=" not in text(answer)
    assert answer["Cache-Control"] == "no-store"


@pytest.mark.parametrize("path", PAGES)
def test_every_page_stands_in_a_busy_workshop(owner: Client, books: Shop, path: str) -> None:
    answer = owner.get(path)
    assert answer.status_code == 200
    assert " style=" not in text(answer)
    assert "{{" not in text(answer)


@pytest.mark.parametrize("path", PAGES)
def test_every_page_speaks_german_numbers_without_breaking(
    owner: Client, books: Shop, path: str
) -> None:
    assert owner.get(path, headers={"accept-language": "de"}).status_code == 200


def test_the_page_answers_four_questions_in_this_order(owner: Client, books: Shop) -> None:
    page = plain(owner.get("/owner/"))
    data = [
        "Are we keeping our promise?",
        "of the frames were posted or taken apart on the promised day or before",
        "What is coming back, and why?",
        "5.0 % of all frames sold have come back at least once (range 2.0 % to 12.2 %, 80 sold).",
        "The commonest reason is",
        "50.0 % of the findings (range 15.0 % to 85.0 %, 2 of 4).",
        "How circular are we?",
        "100.0 % of the material moulded came from frames that customers returned",
        "What may we say?",
        "sentences of the claims sheet",
    ]
    places = [page.find(one) for one in data]
    assert -1 not in places, data[places.index(-1)]
    # What the head of the page says already is said again below its question.
    questions = [place for place, one in zip(places, data, strict=True) if one.endswith("?")]
    assert questions == sorted(questions)


def test_the_page_shows_figures_with_range_method_and_count(owner: Client, books: Shop) -> None:
    page = plain(owner.get("/owner/"))
    assert "80 units out there · score interval for counts (Wilson), 95 %" in page
    assert "Repair share 50.0 % (15.0 % to 85.0 %)" in page
    assert "Recovered mass 0.0388 kg" in page
    assert "2 weighings; 0.000 kg by subtraction" in page
    assert "Not enough evidence: 0 grind runs of the 1 needed." in page


def test_nothing_recovered_is_told_without_a_range(owner: Client, shop: Shop) -> None:
    page = plain(owner.get("/owner/"))
    assert "Recovered mass 0.000 kg 0 weighings" in page


def test_only_sentences_with_evidence_are_offered(owner: Client, books: Shop) -> None:
    page = plain(owner.get("/owner/")).partition("What may we say?")[2]
    assert "5.0 % came back to us (range 2.0 to 12.2 %)" in page
    assert "were mended" not in page


def test_pictures_stand_beside_their_tables(owner: Client, books: Shop) -> None:
    page = text(owner.get("/owner/"))
    assert page.count('class="chart-svg"') == 3
    assert page.count("chart-wide") == 1
    assert page.count("chart-narrow") == 4
    for name in ("returns", "reasons", "turnaround", "losses", "streams"):
        assert f"/owner/table/{name}.csv?first=2025-11&amp;last=2026-10" in page


def test_every_finding_stands_in_a_cell_of_the_heat_table(owner: Client, books: Shop) -> None:
    page = text(owner.get("/owner/"))
    heat = page.partition('class="dense heat"')[2].partition("</table>")[0]
    rows = re.findall(r'<th scope="row">([^<]+)</th>(.*?)</tr>', heat, re.S)
    counts = {name: re.findall(r'class="shade-(\d)"[^>]*>(\d+)<', cells) for name, cells in rows}
    assert sorted(counts) == ["front", "left arm"]
    assert sorted(counts["front"]) == sorted(counts["left arm"]) == [("0", "0"), ("4", "2")]
    assert heat.count("<strong>2</strong>") == 2


def test_months_before_the_first_sale_are_no_empty_rows(owner: Client, books: Shop) -> None:
    rows = list(csv.DictReader(io.StringIO(text(owner.get("/owner/table/returns.csv")))))
    assert rows[0]["month"] == "2026-02"
    assert rows[-1]["month"] == "2026-10"


def test_every_model_has_its_line_where_all_are_chosen(owner: Client, books: Shop) -> None:
    page = plain(owner.get("/owner/"))
    assert "Choose one model." not in page
    assert "models of the 1 needed" not in page
    assert "Avocet – – – Not enough evidence: 0 grind runs of the 1 needed." in page
    assert "indicator of each model" not in plain(owner.get("/owner/?model=avocet"))


def test_one_model_and_months_are_kept_in_the_links(owner: Client, books: Shop) -> None:
    page = text(owner.get("/owner/?first=2026-10&last=2026-10&model=avocet&batch=AV-2601"))
    query = "first=2026-10&amp;last=2026-10&amp;model=avocet&amp;batch=AV-2601"
    assert f"/owner/table/losses.csv?{query}" in page
    month = '<span class="nowrap">2026-10</span>'
    assert f"Avocet, batch AV-2601, {month} to {month}" in page


@pytest.mark.parametrize(
    "query",
    [
        "first=2026-11&last=2026-10",
        "first=nonsense",
        "first=2026-13",
        "first=1970-01&last=2026-10",
        "model=no-such",
        "batch=no-such",
        "first=%00",
        "first=",
        "last=9999-99",
        "batch=" + "x" * 300,
        "model=%00",
    ],
)
@pytest.mark.parametrize("path", ["/owner/", "/owner/claims/", "/owner/table/returns.csv"])
def test_a_bad_choice_is_said_and_never_a_fault(
    owner: Client, books: Shop, query: str, path: str
) -> None:
    answer = owner.get(f"{path}?{query}")
    assert answer.status_code == 400
    assert 'role="alert"' in text(answer)


@pytest.mark.parametrize("name", TABLES)
def test_every_table_can_be_downloaded(owner: Client, books: Shop, name: str) -> None:
    answer = owner.get(f"/owner/table/{name}.csv")
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert f'filename="{name}-2025-11-2026-10.csv"' in answer["Content-Disposition"]
    rows = list(csv.reader(io.StringIO(text(answer))))
    assert len({len(row) for row in rows}) == 1


def test_the_download_holds_what_the_page_shows(owner: Client, books: Shop) -> None:
    rows = list(csv.DictReader(io.StringIO(text(owner.get("/owner/table/losses.csv")))))
    assert rows[0] == {
        "stage": "strip_down",
        "cause": "lens",
        "mass_mg": "10400",
        "expanded_mg": "",
        "share_of_stage": f"{10_400 / 49_640:.6f}",
    }


def test_every_mass_of_a_download_stands_with_how_well_it_is_known(
    owner: Client, books: Shop
) -> None:
    def first(name: str, **wanted: str) -> dict[str, str]:
        rows = csv.DictReader(io.StringIO(text(owner.get(f"/owner/table/{name}.csv"))))
        return next(row for row in rows if wanted.items() <= row.items())

    # Two frames at the box: 2 * hypot(0.408 * 1.4142, 2 * 5.774) = 23.125 mg, rounded up.
    stream = first("streams", **{"from": "arrivals", "to": "box"})
    assert (stream["mass_mg"], stream["expanded_mg"], stream["unweighed_mg"]) == (
        str(2 * 19_400),
        "24",
        "0",
    )
    lens = first("streams", to="lens.out")
    assert (lens["expanded_mg"], lens["unweighed_mg"]) == ("", lens["mass_mg"])
    content = first("content", origin="post_consumer_return")
    assert (content["expanded_mg"], content["unweighed_mg"]) == ("", "15000")


@pytest.mark.parametrize("name", LIFETIME_TABLES)
def test_every_table_of_lifetimes_can_be_downloaded(owner: Client, aged: Shop, name: str) -> None:
    answer = owner.get(f"/owner/lifetimes/table/{name}.csv")
    assert answer.status_code == 200
    rows = list(csv.reader(io.StringIO(text(answer))))
    assert len({len(row) for row in rows}) == 1
    assert len(rows) > 1 or name in ("kits", "back-tests", "cause-fits", "part-months")
    assert owner.get(f"/owner/lifetimes/table/{name}.csv?model=no-such").status_code == 400


def test_an_unknown_table_is_not_found(owner: Client, db: None) -> None:
    assert owner.get("/owner/table/people.csv").status_code == 404
    assert owner.get("/owner/lifetimes/table/people.csv").status_code == 404


def test_a_cell_that_looks_like_a_formula_is_defused() -> None:
    table = Table("x", "", ("a",), (), ((words("=1+1"),), (words("plain"),)))
    assert table.csv() == b"a\r\n'=1+1\r\nplain\r\n"


def test_the_page_asks_a_fixed_number_of_questions(
    owner: Client, books: Shop, django_assert_max_num_queries: Any
) -> None:
    # Session, user, roles, workshop, models for the form, and the figures themselves (counts,
    # flows, yield, content, indicators, days, months, first sale, reasons, late frames, streams,
    # runs, the fates of the outflow, losses; streams and runs are followed to their readings); then
    # sales by model, and what the content of the one model there is asks. The six figures at the
    # head ask for the span before as well, to tell a trend.
    with django_assert_max_num_queries(120) as first:
        owner.get("/owner/")
    for _ in range(5):
        made.boxed(books)
    with django_assert_max_num_queries(len(first)):
        owner.get("/owner/")


def test_the_claims_sheet_withholds_what_is_thin(owner: Client, books: Shop) -> None:
    page = plain(owner.get("/owner/claims/"))
    assert "4 frames; at least 30 needed" in page
    assert "50.0 % were mended" not in page
    assert "5.0 % came back to us (range 2.0 to 12.2 %), of 80 units sold" in page
    assert "Local law decides" in page


def test_a_model_with_a_broad_name_is_refused_words_not_the_page(
    owner: Client, books: Shop
) -> None:
    FrameModel.objects.filter(code="avocet").update(name="Eco Avocet")
    answer = owner.get("/owner/claims/?model=avocet")
    assert answer.status_code == 200
    assert "may not be said" in plain(answer)


def test_a_range_too_narrow_to_show_says_so_and_booked_masses_say_why_there_is_none(
    owner: Client, books: Shop
) -> None:
    for _ in range(3):
        made.issued(books, "post_consumer_return", 5_000, scale=books.fine_scale)
    page = plain(owner.get("/owner/"))
    assert "booked masses, not all weighed: no range" in page
    # What lay there before the books began is of unknown origin, whatever it was called.
    assert "Rounded, this says all or nothing." in plain(owner.get("/owner/claims/"))


def test_lifetimes_say_what_is_missing(owner: Client, shop: Shop) -> None:
    page = plain(owner.get("/owner/lifetimes/"))
    assert "Not enough evidence: 0 first returns of the 5 needed." in page
    assert "No sale is known" in page
    assert "More than half" not in page
    assert "Reorder level. Not enough evidence:" in page
    assert owner.get("/owner/lifetimes/?model=no-such").status_code == 400


@pytest.mark.parametrize(
    ("asked", "status"), [("49.99", 400), ("50", 200), ("99.99", 200), ("100", 400), ("x", 400)]
)
def test_orders_are_proposed_for_the_service_that_is_asked(
    owner: Client, shop: Shop, asked: str, status: int
) -> None:
    shown = owner.get("/owner/lifetimes/", {"service": asked})
    assert shown.status_code == status
    if status == 200:
        assert f"on the shelf in {asked} of 100 cases" in shown.content.decode()


def test_orders_are_for_95_of_100_cases_where_nothing_is_asked(owner: Client, shop: Shop) -> None:
    assert "in 95 of 100 cases" in owner.get("/owner/lifetimes/").content.decode()


def upload(client: Client, content: bytes) -> Any:
    return client.post("/owner/sold/", {"file": SimpleUploadedFile("sales.csv", content)})


def test_a_good_list_is_tried_then_imported(owner: Client, shop: Shop) -> None:
    tried = upload(owner, GOOD)
    assert tried.status_code == 200
    assert not SoldUnits.objects.exists()
    form = tried.context["form"]
    facts = {"key": str(form["key"].value()), "rows": form["rows"].value()}
    for _ in range(2):
        answer = owner.post("/owner/sold/import/", facts, follow=True)
        assert "Sold units before: 0, now: 55." in text(answer)
    assert SoldUnits.objects.count() == 2


def test_rows_that_will_not_do_are_listed_and_cannot_be_imported(owner: Client, shop: Shop) -> None:
    tried = upload(owner, GOOD + b"XX-1,2026-02,1\n<b>,2026-02,1\n")
    assert tried.status_code == 400
    assert "There is no batch “XX-1”. Enter it first, or mend the code." in text(tried)
    assert "<b>" not in text(tried)
    assert "/owner/sold/import/" not in text(tried)
    facts = {"key": str(uuid.uuid4()), "rows": "batch,month,pieces\nXX-1,2026-02,1\n"}
    assert owner.post("/owner/sold/import/", facts).status_code == 400
    assert not SoldUnits.objects.exists()


def test_a_known_month_asks_for_a_tick(owner: Client, shop: Shop) -> None:
    made.sold(shop.batch, m2026_02=29)
    tried = upload(owner, GOOD)
    assert "Months that would change" in text(tried)
    form = tried.context["form"]
    facts = {"key": str(form["key"].value()), "rows": form["rows"].value()}
    refused = owner.post("/owner/sold/import/", facts)
    assert refused.status_code == 400
    assert "Confirm that they may." in text(refused)
    assert owner.post("/owner/sold/import/", {**facts, "replace": "on"}).status_code == 302
    assert SoldUnits.objects.get(month="2026-02").pieces == 30


@pytest.mark.parametrize(
    "content", [b"", b"\xff\xfe\x00", b"a,b\n", b"batch,month,pieces\n", b"x" * 1_000_001]
)
def test_a_file_that_is_no_list_is_said(owner: Client, shop: Shop, content: bytes) -> None:
    answer = upload(owner, content)
    assert answer.status_code == 400
    assert 'role="alert"' in text(answer)


@pytest.mark.parametrize("facts", [{}, {"key": "no"}, {"key": str(uuid.uuid4()), "rows": "\x00"}])
def test_an_import_without_its_list_goes_back(
    owner: Client, shop: Shop, facts: dict[str, str]
) -> None:
    answer = owner.post("/owner/sold/import/", facts)
    assert answer.status_code in (302, 400)
    assert not SoldUnits.objects.exists()


def test_the_empty_list_is_one_that_can_be_tried(owner: Client, shop: Shop) -> None:
    empty = owner.get("/owner/sold/template.csv")
    assert empty.content.startswith(b"batch,month,pieces\r\n")
    assert upload(owner, empty.content).status_code == 200


def token_form(client: Client, **changes: object) -> dict[str, object]:
    key = client.get("/owner/tokens/").context["form"]["key"].value()
    return {"key": str(key), "name": "Web shop", "scopes": ["read"], "days": 30} | changes


def test_a_token_is_shown_once(owner: Client, db: None) -> None:
    facts = token_form(owner)
    made_page = owner.post("/owner/tokens/", facts)
    shown = re.findall(r"hb_[\w-]{30,}", text(made_page))
    assert len(shown) == 1
    assert "hb_" not in text(owner.get("/owner/tokens/"))
    again = owner.post("/owner/tokens/", facts)
    assert again.status_code == 409 or "made already" in text(again)
    assert AccessToken.objects.count() == 1
    assert Event.objects.filter(name="tokens.issue").count() == 1


@pytest.mark.parametrize(
    "changes",
    [{"scopes": []}, {"scopes": ["everything"]}, {"days": 0}, {"days": 367}, {"name": ""}],
)
def test_a_token_that_cannot_be_is_refused(
    owner: Client, db: None, changes: dict[str, object]
) -> None:
    assert owner.post("/owner/tokens/", token_form(owner, **changes)).status_code == 400
    assert not AccessToken.objects.exists()


@pytest.mark.parametrize("days", [1, 366])
def test_a_token_lives_from_a_day_to_a_leap_year(owner: Client, db: None, days: int) -> None:
    assert owner.post("/owner/tokens/", token_form(owner, days=days)).status_code == 200
    assert AccessToken.objects.count() == 1


def test_a_revoked_token_stays_revoked(owner: Client, db: None) -> None:
    owner.post("/owner/tokens/", token_form(owner))
    token = AccessToken.objects.get()
    for _ in range(2):
        assert owner.post(f"/owner/tokens/{token.pk}/revoke/").status_code == 302
    token.refresh_from_db()
    assert token.revoked_at == NOW
    assert Event.objects.filter(name="tokens.revoke").count() == 1
    assert owner.get(f"/owner/tokens/{token.pk}/revoke/").status_code == 405
    assert owner.post("/owner/tokens/999999/revoke/").status_code == 404

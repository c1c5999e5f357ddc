"""The sales list: read, tried, imported; nothing half done and nothing twice."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from hypothesis import given
from hypothesis import strategies as st

from inventory.errors import BadInput, KeyReused
from inventory.models import Event
from returns.catalogue.rules import csvlists, sold
from returns.catalogue.rules.sold import Row
from returns.models import SoldUnits
from tests.makers import NOON, Shop, key

GOOD = b"batch,month,pieces\nAV-2601,2026-02,30\nAV-2601,2026-03,25\n"


def tried(*rows: tuple[str, str, str]) -> sold.Verdict:
    listed = [Row(line, *cells) for line, cells in enumerate(rows, start=2)]
    return sold.check(listed, at=NOON)


def why(*rows: tuple[str, str, str]) -> list[str]:
    return [f"{one.row.line}: {one.why}" for one in tried(*rows).rejected]


@pytest.mark.parametrize(
    "content",
    [
        GOOD,
        b"\xef\xbb\xbf" + GOOD,
        GOOD.replace(b",", b";"),
        GOOD.replace(b"\n", b"\r\n"),
        b"\n\n" + GOOD + b"\n\n",
        b'"Batch","MONTH"," pieces "\n"AV-2601","2026-02","30"\nAV-2601, 2026-03 ,25',
        b"shop,pieces,month,batch\nx,30,2026-02,AV-2601\ny,25,2026-03,AV-2601\n",
    ],
)
def test_every_ordinary_spelling_is_read_alike(content: bytes) -> None:
    rows = [(row.batch, row.month, row.pieces) for row in sold.read(content)]
    assert rows == [("AV-2601", "2026-02", "30"), ("AV-2601", "2026-03", "25")]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "no rows"),
        (b"batch,month,pieces\n", "no rows"),
        (b"batch,month\nAV-2601,2026-02\n", "misses: pieces"),
        (b"batch,batch,month,pieces\na,a,2026-02,1\n", "batch twice"),
        ("batch,month,pieces\nAV-2601,2026-02,3\u00e9".encode("latin-1"), "UTF-8"),
        (GOOD.decode().encode("utf-16"), "UTF-8"),
        (b"batch,month,pieces\nAV\x00,2026-02,1\n", "no text file"),
        (b'batch,month,pieces\n"AV-2601,2026-02,1\n', "quotation mark"),
    ],
)
def test_what_is_no_such_list_is_refused_with_words(content: bytes, words: str) -> None:
    with pytest.raises(BadInput, match=words) as refused:
        sold.read(content)
    assert refused.value.field == "file"


@pytest.mark.slow
def test_a_file_of_just_the_largest_size_is_read() -> None:
    filler = b"AV-2601,2026-02,30\n"
    head = b"batch,month,pieces\n" + filler
    full = head + b"\n" * (csvlists.BYTES_MAX - len(head))
    assert len(sold.read(full)) == 1
    with pytest.raises(BadInput, match="larger than 1 MB"):
        sold.read(full + b"\n")


@pytest.mark.slow
def test_rows_up_to_the_limit_are_read() -> None:
    head, row = b"batch,month,pieces\n", b"A,2026-02,1\n"
    assert len(sold.read(head + row * csvlists.ROWS_MAX)) == csvlists.ROWS_MAX
    with pytest.raises(BadInput, match="20 000 rows"):
        sold.read(head + row * (csvlists.ROWS_MAX + 1))


@given(st.binary(max_size=200))
def test_no_content_breaks_the_reader(content: bytes) -> None:
    try:
        rows = sold.read(b"batch,month,pieces\n" + content)
    except BadInput:
        return
    assert rows


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("row", "words"),
    [
        (("XX-1", "2026-02", "1"), "no batch “XX-1”"),
        (("", "2026-02", "1"), "no batch"),
        (("AV-2601", "2026-2", "1"), "not a month"),
        (("AV-2601", "2026-13", "1"), "not a month"),
        (("AV-2601", "2025-12", "1"), "before the batch was moulded"),
        (("AV-2601", "2026-11", "1"), "still to come"),
        (("AV-2601", "2026-02", "1.5"), "whole number"),
        (("AV-2601", "2026-02", "-1"), "whole number"),
        (("AV-2601", "2026-02", ""), "whole number"),
        (("AV-2601", "2026-02", "=1+1"), "whole number"),
        (("AV-2601", "2026-02", "\u0663"), "whole number"),
        (("AV-2601", "2026-02", "99999999"), "whole number"),
        (("AV-2601", "2026-02", "121"), "121 pieces of the batch were sold, but 120 were made"),
    ],
)
def test_each_bad_row_says_why(shop: Shop, row: tuple[str, str, str], words: str) -> None:
    assert len(why(row)) == 1
    assert words in why(row)[0]


@pytest.mark.django_db
@pytest.mark.parametrize("month", ["2026-01", "2026-10"])
def test_the_moulding_month_and_the_present_one_are_good(shop: Shop, month: str) -> None:
    assert tried(("AV-2601", month, "120")).is_clean


@pytest.mark.django_db
def test_a_doubled_row_names_the_first(shop: Shop) -> None:
    found = why(("AV-2601", "2026-02", "1"), ("AV-2601", "2026-02", "1"))
    assert found == ["3: Batch and month stand in line 2 already."]


@pytest.mark.django_db
def test_pieces_known_from_other_months_count_against_the_batch(shop: Shop) -> None:
    SoldUnits.objects.create(batch=shop.batch, month="2026-02", pieces=100, imported_at=NOON)
    assert tried(("AV-2601", "2026-03", "20")).is_clean
    assert not tried(("AV-2601", "2026-03", "21")).is_clean
    # A row for the known month replaces its 100.
    assert tried(("AV-2601", "2026-02", "120")).is_clean


@pytest.mark.django_db
def test_a_good_list_is_imported_and_told(shop: Shop, olga: User) -> None:
    done = sold.bring_in(key=key(), rows=sold.read(GOOD), at=NOON, by=olga)
    assert (done.before, done.after) == (0, 55)
    assert dict(SoldUnits.objects.values_list("month", "pieces")) == {
        "2026-02": 30,
        "2026-03": 25,
    }
    assert Event.objects.get(name="sold.bring_in").detail["after"] == 55


@pytest.mark.django_db
def test_one_bad_row_stops_the_whole_list(shop: Shop, olga: User) -> None:
    rows = sold.read(GOOD + b"XX-1,2026-02,1\n")
    with pytest.raises(BadInput, match="Line 4") as refused:
        sold.bring_in(key=key(), rows=rows, at=NOON, by=olga)
    assert refused.value.field == "rows"
    assert not SoldUnits.objects.exists()


@pytest.mark.django_db
def test_a_repeat_under_the_same_key_writes_nothing_again(shop: Shop, olga: User) -> None:
    same, rows = key(), sold.read(GOOD)
    first = sold.bring_in(key=same, rows=rows, at=NOON, by=olga)
    again = sold.bring_in(key=same, rows=rows, at=NOON, by=olga)
    assert (again.before, again.after) == (first.before, first.after) == (0, 55)
    assert Event.objects.filter(name="sold.bring_in").count() == 1
    with pytest.raises(KeyReused):
        sold.bring_in(key=same, rows=rows[:1], at=NOON, by=olga)


@pytest.mark.django_db
def test_the_same_list_again_changes_nothing_and_asks_nothing(shop: Shop, olga: User) -> None:
    sold.bring_in(key=key(), rows=sold.read(GOOD), at=NOON, by=olga)
    again = sold.bring_in(key=key(), rows=sold.read(GOOD), at=NOON, by=olga)
    assert (again.before, again.after, again.unchanged) == (55, 55, 2)


@pytest.mark.django_db
def test_a_known_month_changes_only_when_confirmed(shop: Shop, olga: User) -> None:
    sold.bring_in(key=key(), rows=sold.read(GOOD), at=NOON, by=olga)
    rows = sold.read(GOOD.replace(b"25", b"26"))
    with pytest.raises(BadInput, match="1 rows would change") as refused:
        sold.bring_in(key=key(), rows=rows, at=NOON, by=olga)
    assert refused.value.field == "replace"
    assert SoldUnits.objects.get(month="2026-03").pieces == 25
    done = sold.bring_in(key=key(), rows=rows, replace="confirmed", at=NOON, by=olga)
    assert (done.before, done.after) == (55, 56)
    assert SoldUnits.objects.get(month="2026-03").pieces == 26
    data = Event.objects.filter(name="sold.bring_in").latest("pk").detail["replaced"]
    assert data == [["AV-2601", "2026-03", 25, 26]]


@pytest.mark.slow
@pytest.mark.django_db
def test_trying_a_long_list_asks_three_questions(
    shop: Shop, django_assert_num_queries: Any
) -> None:
    # Batches, known months, the total.
    rows = [Row(n, f"XX-{n}", "2026-02", "1") for n in range(2, 3000)]
    with django_assert_num_queries(3):
        verdict = sold.check([Row(1, "AV-2601", "2026-02", "1"), *rows], at=NOON)
    assert len(verdict.rejected) == 2998


EXAMPLES = Path(__file__).parents[3] / "fixtures" / "imports"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("name", "accepted", "bad_lines"),
    [
        ("sold-units.csv", 3, []),
        ("sold-units-semicolon.csv", 2, []),
        ("sold-units-with-mistakes.csv", 1, [3, 4, 5, 6, 7]),
    ],
)
def test_the_example_lists_do_what_they_show(
    shop: Shop, name: str, accepted: int, bad_lines: list[int]
) -> None:
    verdict = sold.check(sold.read((EXAMPLES / name).read_bytes()), at=NOON)
    assert len(verdict.accepted) == accepted
    assert [one.row.line for one in verdict.rejected] == bad_lines

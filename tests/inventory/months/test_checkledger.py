"""The ledger's check of itself: silent on sound books, and loud about each way to spoil them.

The triggers would refuse every tampering, so they are taken away first: as somebody with the
database's owner rights could do.
"""

from __future__ import annotations

import pytest
from django.core.management import call_command
from django.db import connection

from inventory import triggers
from inventory.ledger.rules import ledger, places
from inventory.models import PlaceKind
from inventory.months import rules as months
from inventory.months.queries import audit
from inventory.parts import rules as stock
from tests import furnished
from tests.inventory import month_makers as made
from tests.inventory.month_makers import DEC_2, NOV, OCT, weighed_in
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db


@pytest.fixture
@furnished.once
def books(shop: Shop) -> Shop:
    """Two closed months, one open; a reversal, a late movement and a promise."""
    made.furnished_october(shop)
    for label in ("2026-08", "2026-09", "2026-10"):
        months.close(key=key(), label=label, at=DEC_2, by=None)
    twice = weighed_in("F-TWICE", 7_000, at_=NOV)
    ledger.reverse(key=key(), movement=twice, reason="typed twice", at=NOV)
    weighed_in("F-LATE", 8_000, at_=OCT)
    stock.reserve(part=shop.screw, pieces=4, subject="Q-1", at=NOV)
    return shop


def failed() -> list[str]:
    return [outcome.name for outcome in audit.check() if not outcome.ok]


def tamper(*statements: str) -> None:
    triggers.remove(connection)
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
    triggers.install(connection)


def test_sound_books_pass_every_check(books: Shop) -> None:
    outcomes = audit.check()
    assert [str(outcome) for outcome in outcomes if not outcome.ok] == []
    assert [outcome.name for outcome in outcomes] == list(audit.CHECKS)
    # These books were furnished past the rules: no event tells of a row beside the ledger.
    silent = {outcome.name for outcome in outcomes if not outcome.looked_at}
    assert silent <= {"events-as-booked", "rows-as-told"}


def test_empty_books_pass(db: None) -> None:
    assert failed() == []


NUMBER = "(SELECT max(number) FROM inventory_movement)"
SPOILT = {
    "balances-derived": ["UPDATE inventory_balance SET quantity = quantity + 1 WHERE boundary"],
    "numbers-gapless": [f"UPDATE inventory_movement SET number = 999 WHERE number = {NUMBER}"],
    "lines-gapless": ["UPDATE inventory_posting SET line = 9 WHERE line = 2"],
    "recipes-kept": ["UPDATE inventory_movement SET kind = 'dispose' WHERE kind = 'weigh_in'"],
    "reversals-mirror": [
        "UPDATE inventory_movement SET subject = 'F-OTHER' WHERE reverses_id IS NOT NULL"
    ],
    "never-below-zero": ["UPDATE inventory_posting SET quantity = 9 WHERE quantity = 100000"],
    "months-labelled": ["UPDATE inventory_movement SET belongs_to = '' WHERE belongs_to <> ''"],
    "closed-months-unchanged": [
        "UPDATE inventory_movement SET reason = 'as agreed' WHERE month = '2026-10'"
    ],
    "closed-reports-unchanged": [
        "UPDATE inventory_movement SET cost_minor = 7 WHERE month = '2026-10'"
    ],
    "frames-not-negative": [
        "UPDATE inventory_movement SET subject = 'F-LATE' WHERE kind = 'strip_down'"
    ],
    "heat-spreads-whole": ["UPDATE inventory_lot SET heat = '[[1, 999999]]'"],
    "promises-covered": ["UPDATE inventory_reservation SET pieces = 101"],
}


@pytest.mark.parametrize("name", SPOILT)
def test_spoilt_books_fail_the_check_that_watches_over_it(books: Shop, name: str) -> None:
    tamper(*SPOILT[name])
    assert name in failed()


def test_snapshot_that_was_changed_is_found(books: Shop) -> None:
    tamper("UPDATE inventory_monthbalance SET quantity = quantity + 1")
    assert "closed-months-unchanged" in failed()


def test_units_that_differ_are_found(books: Shop) -> None:
    box, pieces = made.box(books), places.pieces(PlaceKind.SELLERS)
    tamper(f"UPDATE inventory_posting SET target_id = {box.pk} WHERE source_id = {pieces.pk}")
    assert "units-match" in failed()


def test_missing_trigger_is_found_and_put_back(
    books: Shop, capsys: pytest.CaptureFixture[str]
) -> None:
    on = " ON inventory_posting" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER inventory_posting_no_update{on}")
    try:
        assert failed() == ["guards-in-place"]
        call_command("guardledger")
        assert failed() == []
        assert capsys.readouterr().out.startswith("1 faults mended, ")
    finally:
        triggers.install(connection)


def test_promise_up_to_the_last_piece_is_covered(books: Shop) -> None:
    tamper("UPDATE inventory_reservation SET pieces = 100")
    assert failed() == []


def test_command_says_one_line_per_check_and_exits_cleanly(
    books: Shop, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("checkledger", skip_checks=True)
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == len(audit.CHECKS)
    assert all(line.startswith("ok ") for line in lines)


def test_command_exits_1_when_one_fails(books: Shop, capsys: pytest.CaptureFixture[str]) -> None:
    tamper(*SPOILT["balances-derived"])
    with pytest.raises(SystemExit) as left:
        call_command("checkledger", skip_checks=True)
    assert left.value.code == 1
    assert "FAIL balances-derived: " in capsys.readouterr().out

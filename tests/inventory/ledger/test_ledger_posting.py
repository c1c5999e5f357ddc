"""Posting, refusing, repeating and reversing movements, as text in and text out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, connection
from django.db.models import QuerySet

from inventory import events, triggers
from inventory.errors import BadInput, KeyReused
from inventory.ledger.rules import ledger, places
from inventory.models import Balance, Movement, PlaceKind, Posting, Reading, Scale
from inventory.weighing import rules as weighing
from tests import makers
from tests.inventory.ledger.written import booked, held, journal, ledger_text, place
from tests.makers import NOON, key

pytestmark = pytest.mark.django_db


def told(text: str, outcome: str) -> None:
    assert booked(text) == ledger_text(outcome)


def stands(books: str) -> None:
    assert journal() == ledger_text(books)


def holds(balances: str) -> None:
    assert held() == ledger_text(balances)


def test_posting_moves_the_mass() -> None:
    told("2026-10-14 weigh_in F-1: wearers -> arrivals 24310 mg", "#1")
    stands("#1 2026-10 weigh_in F-1: wearers -> arrivals 24310 mg")
    holds("""
        arrivals 24310 mg
        wearers -24310 mg
    """)


def test_lines_of_one_movement_meet_in_the_same_place_and_keep_pieces_from_mass() -> None:
    told(
        """
        2026-10-01 opening: unexplained -> bin 5 pc
        2026-10-14 weigh_in F-1: wearers -> arrivals 100 mg
        2026-10-14 carry F-1: arrivals -> bench 100 mg
        2026-10-14 fit_part F-1, 12 cents: bin -> wearers 1 pc, press -> bench 30 mg, \
bench -> metal 20 mg
        """,
        """
        #1
        #2
        #3
        #4
        """,
    )
    holds("""
        bench 110 mg
        bin 4 pc
        metal 20 mg
        press -30 mg
        unexplained -5 pc
        wearers -100 mg
        wearers 1 pc
    """)


def test_repeat_with_same_content_returns_the_first_movement_and_other_content_is_refused() -> None:
    told(
        """
        [a] 2026-10-14 weigh_in F-1: wearers -> arrivals 5000 mg
        [a] 2026-10-14 weigh_in F-1: wearers -> arrivals 5000 mg
        [a] 2026-10-14 weigh_in F-1: wearers -> arrivals 5001 mg
        [a] 2026-10-14 weigh_in F-2: wearers -> arrivals 5000 mg
        [a] 2026-10-15 weigh_in F-1: wearers -> arrivals 5000 mg
        [a] 2026-10-14 weigh_in F-1, 1 cents: wearers -> arrivals 5000 mg
        [a] 2026-10-14 reverse #1: typed twice
        """,
        """
        #1
        #1
        refused: key-reused
        refused: key-reused
        refused: key-reused
        refused: key-reused
        refused: key-reused
        """,
    )
    stands("#1 2026-10 weigh_in F-1: wearers -> arrivals 5000 mg")
    holds("""
        arrivals 5000 mg
        wearers -5000 mg
    """)


def weigh_in(mass_mg: int, **changes: object) -> Movement:
    line = ledger.Line(places.mass(PlaceKind.WEARERS), places.mass(PlaceKind.ARRIVALS), mass_mg)
    facts = {"key": key(), "kind": "weigh_in", "lines": [line], "happened_at": NOON} | changes
    return ledger.post(**facts)


def read(mass_mg: int, typed: str) -> Reading:
    scale = Scale.objects.first() or makers.scale(division_mg=1)
    return weighing.read(scale=scale, typed=typed, at=NOON)


def weighed(mass_mg: int, reading: Reading, **changes: object) -> Movement:
    shelf, wearers = places.mass(PlaceKind.ARRIVALS), places.mass(PlaceKind.WEARERS)
    return weigh_in(mass_mg, lines=[ledger.Line(wearers, shelf, mass_mg, reading)], **changes)


OTHERWISE = [
    {"story": ledger.Story(reason="typed anew", heat=[[1, 1_000_000]])},
    {"story": ledger.Story(reason="found", heat=[[2, 1_000_000]])},
    {"story": ledger.Story(reason="found")},
]


@pytest.mark.parametrize("is_of_old", [False, True])
@pytest.mark.parametrize("other", OTHERWISE)
def test_repeat_with_another_reason_or_heat_is_refused(
    other: dict[str, Any], is_of_old: bool
) -> None:
    same = {"key": key(), "story": ledger.Story(reason="found", heat=[[1, 1_000_000]])}
    movement = weigh_in(5_000, **same)
    if is_of_old:
        as_of_old(movement)
    assert weigh_in(5_000, **same) == movement
    with pytest.raises(KeyReused):
        weigh_in(5_000, **(same | other))


@pytest.mark.parametrize("is_of_old", [False, True])
def test_repeat_with_the_same_reading_is_one_and_with_another_refused(is_of_old: bool) -> None:
    same = key()
    movement = weighed(5_000, read(5_000, "5 g"), key=same)
    if is_of_old:
        as_of_old(movement)
    assert weighed(5_000, read(5_000, "5 g"), key=same) == movement
    for other in (read(5_000, "5,000 g"), read(4_999, "4,999 g"), None):
        with pytest.raises(KeyReused):
            weighed(5_000, other, key=same)  # type: ignore[arg-type]


def as_of_old(movement: Movement) -> None:
    """The fingerprint that movements had before reason, heat and readings were part of it."""
    legs = [[row.source.code, row.target.code, row.quantity] for row in movement.postings.all()]
    at = movement.happened_at.isoformat()
    old = events.fingerprint([movement.kind, legs, movement.subject, movement.cost_minor, at])
    triggers.remove(connection)
    QuerySet(Movement).filter(pk=movement.pk).update(fingerprint=old)
    triggers.install(connection)


def test_movement_is_recorded_at_the_moment_its_caller_read() -> None:
    assert weigh_in(5_000).recorded_at == NOON


def test_place_may_be_emptied_but_not_overdrawn() -> None:
    told(
        """
        2026-10-14 weigh_in F-1: wearers -> arrivals 10 mg
        2026-10-14 carry F-1: arrivals -> bench 11 mg
        2026-10-14 carry F-1: arrivals -> bench 10 mg
        """,
        """
        #1
        refused: not-enough
        #2
        """,
    )
    holds("""
        bench 10 mg
        wearers -10 mg
    """)


def test_refusal_says_which_place_holds_how_much_and_what_was_wanted() -> None:
    booked("2026-10-14 weigh_in F-1: wearers -> arrivals 10 mg")
    line = ledger.Line(place("arrivals"), place("bench"), 11)
    with pytest.raises(ledger.NotEnough) as refused:
        ledger.post(key=key(), kind="carry", lines=[line], happened_at=NOON)
    assert refused.value.facts == {"place": place("arrivals").code, "held": 10, "wanted": 11}


def test_line_moves_at_least_one_milligram_and_a_movement_has_a_line() -> None:
    told(
        """
        2026-10-14 weigh_in F-1: wearers -> arrivals -1 mg
        2026-10-14 weigh_in F-1: wearers -> arrivals 0 mg
        2026-10-14 weigh_in F-1:
        2026-10-14 weigh_in F-1: wearers -> arrivals 1 mg
        """,
        """
        refused: bad-input
        refused: bad-input
        refused: bad-input
        #1
        """,
    )


def test_what_is_outside_a_recipe_is_refused_place_unit_and_kind() -> None:
    told(
        """
        2026-10-14 weigh_in F-1: wearers -> dust 5 mg
        2026-10-14 weigh_in F-1: wearers -> wearers 5 mg
        2026-10-14 fit_part F-1: bin -> wearers 1 mg
        2026-10-14 lend F-1: wearers -> arrivals 5 mg
        2026-10-14 weigh_in F-1: wearers -> arrivals 5 mg, wearers -> dust 5 mg
        """,
        """
        refused: wrong-recipe
        refused: wrong-recipe
        refused: wrong-recipe
        refused: wrong-recipe
        refused: wrong-recipe
        """,
    )
    holds("")


def test_reversal_mirrors_lines_and_cost_and_happens_once() -> None:
    told(
        """
        2026-10-01 opening: unexplained -> bin 5 pc
        2026-10-14 fit_part F-1, 12 cents: bin -> wearers 1 pc, press -> bench 30 mg
        [r] 2026-10-15 reverse #2: typed twice
        [r] 2026-10-15 reverse #2: typed twice
        [r] 2026-10-15 reverse #2: for another reason
        2026-10-16 reverse #2: again
        2026-10-16 reverse #3: of a reversal
        2026-10-16 reverse #1:
        """,
        """
        #1
        #2
        #3
        #3
        refused: key-reused
        refused: already-reversed
        refused: already-reversed
        refused: bad-input
        """,
    )
    stands("""
        #1 2026-10 opening: unexplained -> bin 5 pc
        #2 2026-10 fit_part F-1, 12 cents: bin -> wearers 1 pc, press -> bench 30 mg
        #3 2026-10 fit_part F-1, -12 cents undoes #2 (typed twice): wearers -> bin 1 pc, \
bench -> press 30 mg
    """)
    holds("""
        bin 5 pc
        unexplained -5 pc
    """)


def test_reversal_without_a_reason_points_at_its_field() -> None:
    booked("2026-10-14 weigh_in F-1: wearers -> arrivals 10 mg")
    with pytest.raises(BadInput) as refused:
        ledger.reverse(key=key(), movement=Movement.objects.get(), reason=" ", at=NOON)
    assert refused.value.field == "reason"


def test_reversal_keeps_what_the_movement_was_about_and_who_reversed_it(bea: User) -> None:
    line = ledger.Line(place("unexplained"), place("box"), 500)
    heat = [[2, 1_000_000]]
    facts = {"key": key(), "kind": "opening", "lines": [line], "happened_at": NOON}
    first = ledger.post(**facts, story=ledger.Story(subject="B-1", reason="found", heat=heat))
    undone = ledger.reverse(key=key(), movement=first, reason=" typed twice ", at=NOON, actor=bea)
    assert (first.actor, undone.actor) == (None, bea)
    assert (first.reason, first.heat) == ("found", heat)
    assert (undone.subject, undone.reason, undone.heat) == ("B-1", "typed twice", heat)


def test_day_of_a_closed_month_is_booked_in_the_next_and_says_where_it_belongs() -> None:
    told(
        """
        2026-10-14 weigh_in F-1: wearers -> arrivals 10 mg
        2026-11-02 close 2026-10
        2026-09-30 weigh_in F-2: wearers -> arrivals 20 mg
        2026-10-30 weigh_in F-3: wearers -> arrivals 30 mg
        2026-11-01 weigh_in F-4: wearers -> arrivals 40 mg
        """,
        """
        #1
        closed 2026-10
        #2
        #3
        #4
        """,
    )
    stands("""
        #1 2026-10 weigh_in F-1: wearers -> arrivals 10 mg
        #2 2026-11 weigh_in F-2 of 2026-09: wearers -> arrivals 20 mg
        #3 2026-11 weigh_in F-3 of 2026-10: wearers -> arrivals 30 mg
        #4 2026-11 weigh_in F-4: wearers -> arrivals 40 mg
    """)


def test_balance_row_that_another_hand_makes_in_between_is_no_error() -> None:
    """The other hand comes after the look for missing rows and before they are written."""
    touched = [place("wearers"), place("arrivals")]
    came = []

    def another_hand(execute: Callable[..., Any], sql: str, *rest: Any) -> Any:
        if sql.startswith("INSERT") and Balance._meta.db_table in sql and not came:
            came.append(sql)
            Balance.objects.bulk_create(
                Balance(place=one, boundary=one.is_boundary) for one in touched
            )
        return execute(sql, *rest)

    with connection.execute_wrapper(another_hand):
        told("2026-10-14 weigh_in F-1: wearers -> arrivals 10 mg", "#1")
    assert came
    holds("""
        arrivals 10 mg
        wearers -10 mg
    """)


@pytest.mark.parametrize("statement", ["UPDATE {} SET id = id", "DELETE FROM {}"])
@pytest.mark.parametrize("model", [Movement, Posting])
def test_database_itself_refuses_to_change_the_ledger(model: type, statement: str) -> None:
    booked("2026-10-14 weigh_in F-1: wearers -> arrivals 3 mg")
    with pytest.raises(IntegrityError, match="append-only"), connection.cursor() as cursor:
        cursor.execute(statement.format(model._meta.db_table))

"""Valuation: constructed months and identities; published ones are under tests/reference."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.months.sums.valuation import (
    BadStockFigures,
    Holding,
    Journal,
    JournalLine,
    MonthMovements,
    MonthValuation,
    UnbalancedJournal,
    ValuationError,
    WriteDown,
    allowance_still_held,
    lower_of_cost_and_nrv,
    month_journal,
    net_realisable_value_minor,
    value_month,
)

NOTHING = Holding(0, 0)


def test_normal_loss_makes_the_rest_dearer() -> None:
    month = value_month(MonthMovements(opening=Holding(100, 900), issued_mg=60, normal_loss_mg=10))
    assert month.normal_loss == Holding(10, 0)
    assert month.issued == Holding(60, 600)
    assert month.closing == Holding(30, 300)


def test_abnormal_loss_bears_its_own_cost() -> None:
    month = value_month(
        MonthMovements(
            opening=Holding(50, 400),
            receipts=(Holding(50, 500),),
            issued_mg=60,
            normal_loss_mg=10,
            abnormal_loss_mg=10,
        )
    )
    assert month.abnormal_loss == Holding(10, 100)
    assert month.issued.cost_minor == 600
    assert month.closing == Holding(20, 200)


def test_odd_penny_goes_to_the_largest_remainder() -> None:
    month = value_month(MonthMovements(opening=Holding(3, 100), issued_mg=2))
    assert (month.issued.cost_minor, month.closing.cost_minor) == (67, 33)


def test_loss_of_everything_is_an_expense() -> None:
    month = value_month(MonthMovements(opening=Holding(5, 70), normal_loss_mg=5))
    assert month.normal_loss == Holding(5, 70)
    assert month.closing == NOTHING
    assert [line.account for line in month_journal(month).lines] == [
        "normal_loss_unborne", "material_stock",
    ]  # fmt: skip


def test_month_without_anything_is_nothing() -> None:
    month = value_month(MonthMovements(opening=NOTHING))
    assert month.closing == NOTHING
    assert month_journal(month).lines == ()


@pytest.mark.parametrize(("issued_mg", "fits"), [(9, True), (10, True), (11, False)])
def test_no_more_leaves_than_was_there(issued_mg: int, fits: bool) -> None:
    if fits:
        assert MonthMovements(opening=Holding(10, 5), issued_mg=issued_mg)
        return
    with pytest.raises(BadStockFigures) as refused:
        MonthMovements(opening=Holding(10, 5), issued_mg=issued_mg)
    assert refused.value.code == "bad_stock_figures"
    assert isinstance(refused.value, ValuationError)


def test_negative_figures_and_value_without_mass_are_refused() -> None:
    with pytest.raises(BadStockFigures):
        Holding(-1, 0)
    with pytest.raises(BadStockFigures):
        Holding(0, -1)
    with pytest.raises(BadStockFigures):
        MonthMovements(opening=Holding(5, 5), normal_loss_mg=-1)
    with pytest.raises(BadStockFigures):
        MonthMovements(opening=Holding(0, 5))


@pytest.mark.parametrize("closing", [Holding(9, 90), Holding(10, 91)])
def test_valuation_that_does_not_tie_cannot_be_made(closing: Holding) -> None:
    with pytest.raises(BadStockFigures):
        MonthValuation(
            opening=Holding(10, 90),
            received=NOTHING,
            issued=NOTHING,
            normal_loss=NOTHING,
            abnormal_loss=NOTHING,
            closing=closing,
        )


@pytest.mark.parametrize(
    ("nrv", "expected"),
    [
        (101, WriteDown(carrying_minor=100, allowance_minor=0, written_down_minor=0,
                        reversed_minor=30)),
        (100, WriteDown(carrying_minor=100, allowance_minor=0, written_down_minor=0,
                        reversed_minor=30)),
        (99, WriteDown(carrying_minor=99, allowance_minor=1, written_down_minor=0,
                       reversed_minor=29)),
        (70, WriteDown(carrying_minor=70, allowance_minor=30, written_down_minor=0,
                       reversed_minor=0)),
        (69, WriteDown(carrying_minor=69, allowance_minor=31, written_down_minor=1,
                       reversed_minor=0)),
        (0, WriteDown(carrying_minor=0, allowance_minor=100, written_down_minor=70,
                      reversed_minor=0)),
    ],
)  # fmt: skip
def test_reversal_stops_at_the_earlier_write_down(nrv: int, expected: WriteDown) -> None:
    assert lower_of_cost_and_nrv(100, nrv, earlier_allowance_minor=30) == expected


@pytest.mark.parametrize(("cost", "nrv", "earlier"), [(100, -1, 0), (100, 5, -1), (100, 5, 101)])
def test_write_down_of_impossible_figures_is_refused(cost: int, nrv: int, earlier: int) -> None:
    with pytest.raises(BadStockFigures):
        lower_of_cost_and_nrv(cost, nrv, earlier_allowance_minor=earlier)


def test_net_realisable_value_rounds_down_and_stops_at_zero() -> None:
    rates = {"to_complete_minor_per_kg": 10, "to_sell_minor_per_kg": 5}
    assert net_realisable_value_minor(1_500_000, price_minor_per_kg=16, **rates) == 1
    assert net_realisable_value_minor(999_999, price_minor_per_kg=16, **rates) == 0
    assert net_realisable_value_minor(1_500_000, price_minor_per_kg=3, **rates) == 0
    half = net_realisable_value_minor(4_000_000, price_minor_per_kg=Fraction(31, 2), **rates)
    assert half == 2


def test_allowance_leaves_with_its_material() -> None:
    assert allowance_still_held(100, held_mg=1, of_mg=3) == 33
    assert allowance_still_held(100, held_mg=3, of_mg=3) == 100
    assert allowance_still_held(100, held_mg=0, of_mg=0) == 0
    with pytest.raises(BadStockFigures):
        allowance_still_held(100, held_mg=4, of_mg=3)
    with pytest.raises(BadStockFigures):
        allowance_still_held(-1, held_mg=1, of_mg=3)


def test_journal_carries_the_month_and_the_write_down() -> None:
    month = value_month(
        MonthMovements(
            opening=Holding(0, 0), receipts=(Holding(100, 900),), issued_mg=60, abnormal_loss_mg=10
        )
    )
    step = lower_of_cost_and_nrv(month.closing.cost_minor, 200)
    lines = {(line.account, line.text_key): line for line in month_journal(month, step).lines}
    assert lines["material_stock", "material_received"].debit_minor == 900
    assert lines["material_stock", "material_issued"].credit_minor == 540
    assert lines["abnormal_loss", "abnormal_loss_expensed"].debit_minor == 90
    assert lines["stock_allowance", "written_down"].credit_minor == 70
    back = lower_of_cost_and_nrv(270, 250, earlier_allowance_minor=70)
    reversal = month_journal(value_month(MonthMovements(opening=NOTHING)), back).lines
    assert [(line.account, line.debit_minor) for line in reversal] == [
        ("stock_allowance", 50), ("write_down", 0),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "lines",
    [
        [("a", 5, 0)],
        [("a", 5, 0), ("b", 0, 4)],
        [("a", 5, 0), ("b", 0, 6)],
        [("a", 5, 5)],
        [("a", 0, 0)],
        [("a", -5, 0), ("b", 0, -5)],
        [("a", 5, -1), ("b", 0, 6)],
    ],
)
def test_journal_that_does_not_balance_is_refused(lines: list[tuple[str, int, int]]) -> None:
    with pytest.raises(UnbalancedJournal) as refused:
        Journal(tuple(JournalLine(*line, "text") for line in lines))
    assert refused.value.code == "unbalanced_journal"


holdings = st.builds(Holding, st.integers(1, 10**9), st.integers(0, 10**9))


@st.composite
def months(draw: st.DrawFn) -> MonthMovements:
    opening, receipts = draw(holdings), tuple(draw(st.lists(holdings, max_size=4)))
    left = opening.mass_mg + sum(receipt.mass_mg for receipt in receipts)
    gone = []
    for _ in range(3):
        gone.append(draw(st.integers(0, left)))
        left -= gone[-1]
    return MonthMovements(
        opening=opening,
        receipts=receipts,
        issued_mg=gone[0],
        normal_loss_mg=gone[1],
        abnormal_loss_mg=gone[2],
    )


@given(months())
def test_every_month_ties_and_its_journal_moves_the_stock(movements: MonthMovements) -> None:
    month = value_month(movements)
    journal = month_journal(month)
    stock = [line for line in journal.lines if line.account == "material_stock"]
    moved = sum(line.debit_minor - line.credit_minor for line in stock)
    assert movements.opening.cost_minor + moved == month.closing.cost_minor
    bearing = (month.issued, month.abnormal_loss, month.closing)
    mass_mg = sum(part.mass_mg for part in bearing)
    average = Fraction(sum(part.cost_minor for part in bearing), mass_mg) if mass_mg else 0
    for part in bearing:
        assert abs(part.cost_minor - part.mass_mg * average) < 1


@given(st.integers(0, 10**6), st.lists(st.integers(0, 2 * 10**6), min_size=1, max_size=8))
def test_steps_of_a_write_down_add_up_and_never_exceed_cost(cost: int, nrvs: list[int]) -> None:
    allowance = 0
    for nrv in nrvs:
        step = lower_of_cost_and_nrv(cost, nrv, earlier_allowance_minor=allowance)
        assert step.reversed_minor <= allowance
        allowance += step.written_down_minor - step.reversed_minor
        assert allowance == step.allowance_minor
        assert step.carrying_minor == cost - allowance == min(cost, nrv)

"""Sampling plans against published table rows and operating characteristics.

Code letters and plans read on public pages that print ISO 2859-1 Table 1 and the master rows of
MIL-STD-105E; the standard itself was not opened.
"""

from __future__ import annotations

import pytest
from scipy.stats import binom

from returns.auditing.sums import (
    _PLANS,
    AQLS,
    Plan,
    acceptance_chance_in_lot,
    code_letter,
    plan,
)

# So large that drawing from the lot is drawing from a process, as the printed chances take it.
LOT_OF_A_PROCESS = 10**9


# Read: both ends of each printed lot range at general level II.
@pytest.mark.parametrize(
    ("low", "high", "letter"),
    [
        (2, 8, "A"),
        (9, 15, "B"),
        (16, 25, "C"),
        (26, 50, "D"),
        (51, 90, "E"),
        (91, 150, "F"),
        (151, 280, "G"),
        (281, 500, "H"),
        (501, 1200, "J"),
        (1201, 3200, "K"),
        (3201, 10000, "L"),
        (10001, 35000, "M"),
        (35001, 150000, "N"),
        (150001, 500000, "P"),
        (500001, 9_000_000, "Q"),
    ],
)
def test_code_letters(low, high, letter):
    assert (code_letter(low), code_letter(high)) == (letter, letter)


# Read off the table: lot, quality limit, sample and acceptance number.
@pytest.mark.parametrize(
    ("lot", "aql", "expected"),
    [
        (40, "2.5", (5, 0)),
        (60, "2.5", (20, 1)),
        (120, "4.0", (20, 2)),
        (300, "1.0", (50, 1)),
        (100, "6.5", (20, 3)),
        (3200, "6.5", (125, 14)),
        (1201, "0.65", (125, 2)),
    ],
)
def test_plans(lot, aql, expected):
    found = plan(lot=lot, aql=aql)
    assert (found.sample, found.accept) == expected
    assert found.sample < lot


def test_a_sample_beyond_the_lot_means_inspecting_all():
    # Read off the table: lot 10 at 1.0 asks for 13.
    found = plan(lot=10, aql="1.0")
    assert (found.sample, found.accept) == (10, 0)


# Sample size of each letter as printed (read).
LETTERS = "ABCDEFGHJKLMNPQR"
SAMPLES = (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000)
SAMPLE_BY_LETTER = dict(zip(LETTERS, SAMPLES, strict=True))
# Plans printed in their own row carry that letter's sample size (read).
PRINTED = {
    ("A", "6.5"),
    ("B", "4.0"),
    ("C", "2.5"),
    ("D", "1.5"),
    ("D", "6.5"),
    ("E", "1.0"),
    ("E", "4.0"),
    ("E", "6.5"),
    ("F", "0.65"),
    *(("F", aql) for aql in ("2.5", "4.0", "6.5")),
    *(("G", aql) for aql in ("1.5", "2.5", "4.0", "6.5")),
    *(("H", aql) for aql in AQLS[1:]),
    *((letter, aql) for letter in "JK" for aql in AQLS),
}


def test_plans_printed_in_their_row_use_that_letters_sample_and_others_do_not():
    for letter, row in _PLANS.items():
        for aql, (sample, _accept) in zip(AQLS, row, strict=True):
            is_own = sample == SAMPLE_BY_LETTER[letter]
            assert is_own == ((letter, aql) in PRINTED), (letter, aql)


# Published pattern of the tables, recomputed: chance of acceptance at the quality limit.
@pytest.mark.parametrize(("letter", "aql"), sorted(PRINTED))
def test_a_lot_at_the_quality_limit_is_mostly_accepted(letter, aql):
    sample, accept = _PLANS[letter][AQLS.index(aql)]
    chance = float(binom.cdf(accept, sample, float(aql) / 100))
    bands = {0: (0.874, 0.886), 1: (0.904, 0.917)}
    low, high = bands.get(accept, (0.951, 1))
    assert round(chance, 3) >= low
    assert round(chance, 3) <= high


# Manual of the R package Planesmuestra (read).
@pytest.mark.parametrize(
    ("sample", "bad_share", "chance", "tolerance"),
    [(65, 0.012, 0.9564398, 1e-7), (125, 0.1, 0.000210835, 5e-10)],
)
def test_acceptance_chance_of_two_manual_examples(sample, bad_share, chance, tolerance):
    audit = Plan(sample=sample, accept=2)
    bad = round(LOT_OF_A_PROCESS * bad_share)
    found = acceptance_chance_in_lot(audit, lot=LOT_OF_A_PROCESS, bad=bad)
    assert found == pytest.approx(chance, abs=tolerance)

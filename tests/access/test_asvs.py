"""Each row of the table of the ASVS names tests that there are, or says why there is none."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

from tests.access.asvs import MET, NOT, PARTLY, ROWS, Row

ROOT = Path(__file__).resolve().parents[2]


@cache
def named_in(file: str) -> frozenset[str]:
    tree = ast.parse((ROOT / file).read_text(encoding="utf-8"))
    return frozenset(one.name for one in tree.body if isinstance(one, ast.FunctionDef))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.number)
def test_a_row_is_held_by_tests_or_says_why_not(row: Row) -> None:
    assert row.verdict in (MET, PARTLY, NOT)
    assert row.tests or row.reason
    assert row.verdict == MET or row.reason
    for test in row.tests:
        file, _, name = test.partition("::")
        assert name in named_in(file), test


def test_no_requirement_has_two_verdicts() -> None:
    numbers = [number for row in ROWS for number in row.number.split(", ")]
    assert len(numbers) == len(set(numbers))

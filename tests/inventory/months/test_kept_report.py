"""A closed report against what a later version builds: new figures pass, changed ones do not."""

from __future__ import annotations

import json
from typing import Any

import pytest

from inventory.months.sums.kept_report import unlike

KEPT = {"rows": [{"place": "box", "mg": 5}, {"place": "lot", "mg": 7}], "late": []}


def compared(built: Any) -> list[str]:
    return unlike(json.dumps(KEPT), json.dumps(built))


def test_the_same_report_has_no_difference() -> None:
    assert compared(KEPT) == []


def test_figures_that_a_later_version_adds_are_no_difference() -> None:
    rows = [row | {"losses": 1} for row in KEPT["rows"]]  # type: ignore[operator]
    assert compared({**KEPT, "rows": rows, "worth": {"bought": 3}}) == []


@pytest.mark.parametrize(
    ("built", "where"),
    [
        ({**KEPT, "rows": [{"place": "box", "mg": 6}, {"place": "lot", "mg": 7}]}, ["rows/0/mg"]),
        ({**KEPT, "rows": [{"place": "box", "mg": 5}]}, ["rows"]),
        ({**KEPT, "rows": [{"place": "box"}, {"place": "lot", "mg": 7}]}, ["rows/0/mg"]),
        ({**KEPT, "late": [1]}, ["late"]),
        ({"rows": KEPT["rows"]}, ["late"]),
    ],
)
def test_a_changed_or_missing_figure_is_named(built: Any, where: list[str]) -> None:
    assert compared(built) == where


def test_true_is_not_one() -> None:
    assert unlike('{"a":true}', '{"a":1}') == ["a"]

"""The repairability index of Commission Delegated Regulation (EU) 2023/1669, Annex IV point 5.

Formula, weights and class edges: second-hand, from a compliance consultancy's page on the
regulation. Steps for disassembly depth: second-hand, the same. Example tuples: constructed.
"""

from __future__ import annotations

from decimal import Decimal as D
from itertools import product

import pytest

from returns.figures.repairability.sums import (
    INDEX_WEIGHTS,
    disassembly_depth_score,
    published_class,
    published_index,
)


def index(*scores: int) -> D:
    return published_index(dict(zip(INDEX_WEIGHTS, scores, strict=True)))


def test_weights_are_a_quarter_and_five_times_fifteen_percent() -> None:
    """Second-hand; that they add up to 1 is derived."""
    assert list(INDEX_WEIGHTS.values()) == [D("0.25")] + [D("0.15")] * 5
    assert sum(INDEX_WEIGHTS.values()) == 1


@pytest.mark.parametrize(
    ("edge", "at", "below"),
    [("4.00", "A", "B"), ("3.35", "B", "C"), ("2.55", "C", "D"), ("1.75", "D", "E")],
)
def test_lower_edge_belongs_to_its_class(edge: str, at: str, below: str) -> None:
    """Second-hand: A from 4.00, B from 3.35, C from 2.55, D from 1.75, E from 1.00."""
    assert published_class(D(edge)) == at
    assert published_class(D(edge) + D("0.01")) == at
    assert published_class(D(edge) - D("0.01")) == below


@pytest.mark.parametrize(
    ("steps", "score"),
    [(0, 5), (2, 5), (3, 4), (5, 4), (6, 3), (10, 3), (11, 2), (15, 2), (16, 1), (99, 1)],
)
def test_disassembly_depth_steps(steps: int, score: int) -> None:
    """Second-hand: up to 2 steps 5, 3-5 4, 6-10 3, 11-15 2, more 1."""
    assert disassembly_depth_score(steps) == score


@pytest.mark.parametrize(
    ("scores", "expected", "letter"),
    [
        ((5, 5, 5, 5, 5, 5), "5.00", "A"),
        ((4, 3, 5, 3, 3, 5), "3.85", "B"),
        ((5, 3, 3, 4, 1, 3), "3.35", "B"),
        ((1, 1, 1, 4, 1, 3), "1.75", "D"),
        ((1, 1, 1, 1, 1, 1), "1.00", "E"),
    ],
)
def test_index_and_class_of_tuples(scores: tuple[int, ...], expected: str, letter: str) -> None:
    """Constructed, exact arithmetic on the second-hand formula."""
    assert index(*scores) == D(expected)
    assert published_class(index(*scores)) == letter


def test_binary_floats_would_misplace_scores_on_an_edge() -> None:
    """Derived: why Decimal. The count depends on the order of adding, so only "many" is pinned."""
    weights = [float(weight) for weight in INDEX_WEIGHTS.values()]
    edges = [
        (letter, float(edge))
        for letter, edge in [("A", "4.00"), ("B", "3.35"), ("C", "2.55"), ("D", "1.75")]
    ]
    wrong = 0
    for scores in product(range(1, 6), repeat=6):
        naive = sum(weight * score for weight, score in zip(weights, scores, strict=True))
        letter = next((letter for letter, edge in edges if naive >= edge), "E")
        wrong += letter != published_class(index(*scores))
    assert wrong > 50

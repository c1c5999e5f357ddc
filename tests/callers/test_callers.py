"""No sum without a caller: what nobody can reach is neither kept nor claimed."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.callers.walk import Walk, asked_by_templates, read

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("inventory", "returns", "deploy")


@pytest.fixture(scope="module")
def asked() -> set[str]:
    return {*asked_by_templates(ROOT, ROOMS)}


def test_each_sum_is_reached_from_a_page_the_api_a_letter_or_a_command(asked: set[str]) -> None:
    walk = Walk(read(ROOT, ROOMS), asked=asked)
    assert walk.unreached_sums() == []

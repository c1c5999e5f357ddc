"""A grading reckons with the flake that the latest grind runs gave."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User

from returns.grading.queries.facts import YIELD_RUNS_MIN, recovery_share_ppm
from returns.grading.sums.facts import RECOVERY_SHARE_PPM
from tests.makers import Shop
from tests.returns import owner_makers as made

pytestmark = pytest.mark.django_db


def test_before_enough_runs_it_is_the_cautious_choice_and_then_what_was_measured(
    shop: Shop, bea: User, ben: User
) -> None:
    """Each box holds one frame of 19,400 mg; the flakes are 19,000, 18,000 and 17,030 mg, so that
    54,030 of 58,200 mg came through: 928,350 parts per million, rounded down."""
    for run, flake_mg in enumerate((19_000, 18_000, 17_030), start=1):
        assert run <= YIELD_RUNS_MIN
        assert recovery_share_ppm() == RECOVERY_SHARE_PPM
        made.boxed(shop)
        made.ground(shop, bea, ben, flake_mg=flake_mg)
    assert recovery_share_ppm() == 54_030 * 1_000_000 // 58_200

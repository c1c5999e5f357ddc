"""Why frames come back: findings of each frame's last look, as a table."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User

from inventory.months.sums.calendar_month import Month
from returns.figures.circularity.queries.reasons import reasons
from returns.figures.span.queries import Scope, Span
from tests.makers import NOON, Shop
from tests.returns import owner_makers as made

pytestmark = pytest.mark.django_db

OCTOBER = Span(Month(2026, 10), Month(2026, 10))


def test_findings_are_counted_by_component_and_defect(shop: Shop, bea: User) -> None:
    made.graded(made.frame(shop), bea, ("arm_left", "snapped"), ("front", "scuffed"))
    made.graded(made.frame(shop), bea, ("arm_left", "snapped"))
    made.graded(made.frame(shop), bea)
    found = reasons(OCTOBER, Scope())
    assert found.frames == 3
    assert found.rows == (("front", (0, 1), 1), ("arm_left", (2, 0), 2))
    assert found.defects == ("snapped", "scuffed")
    assert found.total == 3


def test_only_the_last_look_of_a_frame_counts(shop: Shop, bea: User) -> None:
    frame = made.frame(shop)
    made.graded(frame, bea, ("arm_left", "snapped"))
    made.graded(frame, bea, ("arm_right", "warped"), at=NOON + timedelta(hours=1))
    found = reasons(OCTOBER, Scope())
    assert (found.frames, found.components, found.defects) == (1, ("arm_right",), ("warped",))


def test_a_last_look_after_the_span_takes_the_frame_out_of_it(shop: Shop, bea: User) -> None:
    frame = made.frame(shop)
    made.graded(frame, bea, ("arm_left", "snapped"))
    made.graded(frame, bea, ("arm_left", "snapped"), at=NOON + timedelta(days=40))
    assert reasons(OCTOBER, Scope()).frames == 0


def test_frames_of_other_makes_say_nothing_about_ours(shop: Shop, bea: User) -> None:
    stranger = made.frame(shop, colourway=None, batch=None, is_stranger=True)
    made.graded(stranger, bea, ("arm_left", "snapped"))
    assert reasons(OCTOBER, Scope()).total == 0


def test_two_questions_however_many_frames(
    shop: Shop, bea: User, django_assert_num_queries: Any
) -> None:
    for _ in range(4):
        made.graded(made.frame(shop), bea, ("arm_left", "snapped"))
    with django_assert_num_queries(2):
        assert reasons(OCTOBER, Scope(shop.avocet)).total == 4

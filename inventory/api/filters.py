"""Filters that refuse what no column can hold."""

from __future__ import annotations

from datetime import date
from typing import Any

import django_filters
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator

from inventory.sums.months import YEAR_MAX, YEAR_MIN


class Day(django_filters.DateFilter):
    """A day on the workshop's calendar, between the years that the books cover."""

    def __init__(self, **options: Any) -> None:
        limits = [
            MinValueValidator(date(YEAR_MIN, 1, 1)),
            MaxValueValidator(date(YEAR_MAX, 12, 31)),
        ]
        super().__init__(validators=limits, **options)


class MonthLabel(django_filters.CharFilter):
    """A month such as 2026-10."""

    def __init__(self, **options: Any) -> None:
        super().__init__(validators=[RegexValidator(r"\A[0-9]{4}-[0-9]{2}\Z")], **options)

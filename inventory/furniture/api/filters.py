"""Filters of lists, under one roof, and two that refuse what no column can hold."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django_filters import (  # type: ignore[import-untyped]
    BooleanFilter,
    CharFilter,
    ChoiceFilter,
    DateFilter,
    ModelChoiceFilter,
)

from inventory.months.sums.calendar_month import YEAR_MAX, YEAR_MIN

if TYPE_CHECKING:

    class FilterSet:
        """The library has no types; what follows from it is untyped as well."""
else:
    from django_filters import FilterSet

__all__ = [
    "BooleanFilter",
    "CharFilter",
    "ChoiceFilter",
    "Day",
    "FilterSet",
    "ModelChoiceFilter",
    "MonthLabel",
]


class Day(DateFilter):  # type: ignore[misc]
    """A day on the workshop's calendar, between the years that the books cover."""

    def __init__(self, **options: Any) -> None:
        # A day outside these years has no month, and its start of day may be no moment at all.
        first, last = date(YEAR_MIN, 1, 1), date(YEAR_MAX, 12, 31)
        limits = [MinValueValidator(first), MaxValueValidator(last)]
        super().__init__(validators=limits, **options)


class MonthLabel(CharFilter):  # type: ignore[misc]
    """A month such as 2026-10."""

    def __init__(self, **options: Any) -> None:
        super().__init__(validators=[RegexValidator(r"\A[0-9]{4}-[0-9]{2}\Z")], **options)

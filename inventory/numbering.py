"""Gapless numbers: moved inside the transaction that uses them, so a rollback gives them back."""

from __future__ import annotations

from django.db.models import F

from inventory.models import Counter


def next_number(series: str) -> int:
    """The next whole number of a series, from 1. Must run inside a transaction."""
    if not Counter.objects.filter(name=series).update(last=F("last") + 1):
        Counter.objects.get_or_create(name=series)
        Counter.objects.filter(name=series).update(last=F("last") + 1)
    return Counter.objects.get(name=series).last

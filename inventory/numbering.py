"""Gapless numbers: moved inside the transaction that uses them, so a rollback gives them back."""

from __future__ import annotations

from django.db.models import F

from inventory.models import Counter


def next_number(series: str) -> int:
    """Return the next whole number of a series, from 1. Must run inside a transaction."""
    # The update comes before the read: it locks the counter's row, so that on PostgreSQL the next
    # caller waits here until this transaction ends. A sequence of the database would be faster, but
    # leaves a gap behind each rollback, and an auditor asks what was in the gap.
    if not Counter.objects.filter(name=series).update(last=F("last") + 1):
        # Two callers may both be the first of a series; `get_or_create` lets both go on with one
        # row.
        Counter.objects.get_or_create(name=series)
        Counter.objects.filter(name=series).update(last=F("last") + 1)
    return Counter.objects.get(name=series).last

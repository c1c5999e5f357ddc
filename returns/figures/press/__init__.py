"""Which lots make the next batches, week by week, so that the owner's promises hold."""

from __future__ import annotations

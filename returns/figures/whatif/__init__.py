"""What would follow from another promise, price, ceiling, pace, hand or number of returns."""

from __future__ import annotations

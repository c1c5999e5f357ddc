"""From which month to which, and of which model or batch: what every figure is of."""

from __future__ import annotations

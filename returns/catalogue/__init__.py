"""What was sold: models with their bills, batches, sales, and lists that people upload."""

from __future__ import annotations

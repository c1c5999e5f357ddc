"""What will come back, and which spare parts to order."""

from __future__ import annotations

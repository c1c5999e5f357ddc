"""What came back and what became of it, in counts and grams with their ranges."""

from __future__ import annotations

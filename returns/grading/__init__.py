"""Findings become a decision: repair, regrind or hold, with its sums and reasons."""

from __future__ import annotations

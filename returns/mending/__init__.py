"""Repair jobs step by step, the parts fitted, the bench check, the weigh-out."""

from __future__ import annotations

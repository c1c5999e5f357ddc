"""Spare parts and their bins."""

from __future__ import annotations

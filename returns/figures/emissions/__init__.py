"""Emissions of a year's recycled material, and avoided ones beside them."""

from __future__ import annotations

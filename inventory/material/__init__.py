"""Boxes, lots, grinding and blending, and the heat that material has seen."""

from __future__ import annotations

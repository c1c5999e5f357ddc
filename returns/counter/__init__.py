"""Somebody stands at the counter with a frame: filed, agreed to, weighed in, receipted."""

from __future__ import annotations

"""Movements and postings: the only writer, its recipes, its places, its reversals."""

from __future__ import annotations

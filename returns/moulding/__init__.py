"""Flake goes to the press: blends, moulded batches and their heat history."""

from __future__ import annotations

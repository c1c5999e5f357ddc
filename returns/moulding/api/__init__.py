"""The API of the press: batches, and recipe cards."""

from __future__ import annotations

"""Good parts of frames that will be ground, kept for frames that lack them."""

from __future__ import annotations

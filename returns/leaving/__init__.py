"""What leaves the house: mended frames, frames as they were, lenses, kits."""

from __future__ import annotations

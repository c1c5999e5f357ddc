"""Drop-off partners: slips for wearers, a box with many owners' frames, the partner's own page."""

from __future__ import annotations

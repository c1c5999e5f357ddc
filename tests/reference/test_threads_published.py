"""Screw sizes: ISO 11381:2016, contents as listed by a standards shop (read)."""

from __future__ import annotations

from decimal import Decimal as D

from returns.mending.sums import THREADS


def test_sizes_are_those_of_iso_11381() -> None:
    """ISO 11381:2016, Ophthalmic optics, Spectacle frames, Screw threads: sizes (read)."""
    assert [(thread.name, thread.diameter_mm) for thread in THREADS] == [
        ("S0.8x0.2", D("0.8")),
        ("M1x0.25", D("1.0")),
        ("M1.2x0.25", D("1.2")),
        ("M1.4x0.3", D("1.4")),
        ("M1.6x0.35", D("1.6")),
        ("M2x0.4", D("2.0")),
    ]

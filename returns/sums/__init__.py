"""Pure sums of the people-and-frames room: plain values in and out; no Django, no I/O."""

from __future__ import annotations

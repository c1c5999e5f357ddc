"""Pure sums of the ledger room: plain values in, plain values out; no Django, no I/O."""

from __future__ import annotations

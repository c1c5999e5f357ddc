"""Each physical step as a traceability event of GS1 EPCIS 2.0, derived from ledger and history."""

from __future__ import annotations

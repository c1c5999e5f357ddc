"""The fault harness: a served workshop of its own, whose processes are killed while people work.

Afterwards every acknowledged write must be there exactly once, every promised letter and paper
exactly once, nothing stuck, and the ledger clean. See `python -m tests.service.faults --help`.
"""

from __future__ import annotations

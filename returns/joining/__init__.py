"""Parts that come after their frame join it: weighed, in the ledger under the frame's tag."""

from __future__ import annotations

"""The journal for the accountant's own books: account numbers, trial balance, exports."""

from __future__ import annotations

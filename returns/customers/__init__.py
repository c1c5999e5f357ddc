"""Who the customers are, the copy of their data, and erasing them."""

from __future__ import annotations

"""What waits for the owner, and what keeps a month open."""

from __future__ import annotations

"""How long frames stay out before they first come back, and why."""

from __future__ import annotations

"""What comes back, why it breaks, what is circular, what to order, what may be claimed."""

from __future__ import annotations

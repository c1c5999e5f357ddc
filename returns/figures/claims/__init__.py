"""What may be said in public, with everything that stands behind it."""

from __future__ import annotations

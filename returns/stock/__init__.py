"""Parts and material as the bench sees them: what came in, what was counted."""

from __future__ import annotations

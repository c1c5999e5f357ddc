"""Questions to a customer: asked at the bench, answered by the link; the frame waits meanwhile."""

from __future__ import annotations

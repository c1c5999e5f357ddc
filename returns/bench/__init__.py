"""The bench's own desk: what waits today, finding by code, the frame's page, labels."""

from __future__ import annotations

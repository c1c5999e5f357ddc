"""Every address of the room, by who works there."""

from __future__ import annotations

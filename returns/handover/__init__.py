"""What one shift leaves to the next: shelf places, hand-over notes, photos taken at the bench."""

from __future__ import annotations

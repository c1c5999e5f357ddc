"""Taking apart, the second person's word, grinding, and what a frame became."""

from __future__ import annotations

"""Setting up the hand scanner and the label printer: a test scan, and a test label."""

from __future__ import annotations

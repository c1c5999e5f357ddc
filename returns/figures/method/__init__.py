"""How each figure of the product is made and from which source, as data for the method page.

A test holds the list against the modules of sums, so that none goes unexplained.
"""

from __future__ import annotations

from returns.figures.method.choices import CHOICES, Choice
from returns.figures.method.entries import TAG_WORDS, Entry, Source, Tag
from returns.figures.method.frames import FRAMES
from returns.figures.method.grams import GRAMS

__all__ = [
    "CHOICES",
    "ENTRIES",
    "TAG_WORDS",
    "Choice",
    "Entry",
    "Source",
    "Tag",
]

ENTRIES: tuple[Entry, ...] = (*GRAMS, *FRAMES)

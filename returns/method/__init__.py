"""How each figure of the product is made and from which source, as data for the method page.

A test holds the list against the modules of sums, so that none goes unexplained.
"""

from __future__ import annotations

from returns.method.choices import CHOICES, Choice
from returns.method.entries import TAG_WORDS, Entry, Source, Tag
from returns.method.figures import FIGURES
from returns.method.frames import FRAMES
from returns.method.grams import GRAMS

__all__ = [
    "CHOICES",
    "ENTRIES",
    "FIGURES",
    "NO_FIGURES",
    "TAG_WORDS",
    "Choice",
    "Entry",
    "Source",
    "Tag",
]

ENTRIES: tuple[Entry, ...] = (*GRAMS, *FRAMES)
# These hold words for translators and compute nothing.
NO_FIGURES = frozenset(
    {"inventory.sums.wording", "returns.sums.grading.wording", "returns.sums.refusals"}
)

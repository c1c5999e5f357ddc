"""Marks message texts for the translators without leaning on the web framework.

The pure modules keep their English templates as data; an edge translates the template and then
fills in the figures. The marker carries the name that message extraction looks for.
"""

from __future__ import annotations


def gettext_noop(text: str) -> str:
    """Return the text unchanged; only its name matters to the extraction of messages."""
    return text


def unbroken_factor(text: str) -> str:
    """Return a sentence whose coverage factor, "k = 2", is never cut at the end of a line."""
    return text.replace("k = 2", "k\u00a0=\u00a02")

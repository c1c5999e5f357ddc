"""The table of checks against sources: theirs as written down, ours by running it.

    python -m tests.docs.published

prints the table; a test holds tests/reference/README.md to it. The assertions themselves, with
tolerances and the editions of the sources, stand beside it.
"""

from __future__ import annotations

from tests.docs import published_frames, published_grams
from tests.docs.sources import Row


def rows() -> list[Row]:
    """Every row, in the order of the document."""
    return [row for part in (*published_grams.PARTS, *published_frames.PARTS) for row in part()]


def table() -> str:
    head = ["| what | source | theirs | ours | tag |", "|---|---|---|---|---|"]
    return "\n".join([*head, *(row.line() for row in rows())])


if __name__ == "__main__":
    print(table())

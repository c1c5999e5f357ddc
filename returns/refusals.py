"""How the sums refuse what cannot be worked out: a stable code, and what to put right.

What a person may come to read is marked for the translators; the rest is for programmers.
"""

from __future__ import annotations


class Refused(ValueError):
    """Root of such refusals. `code` is stable; `template` is a message key that says what to put
    right, and `figures` are what it is filled with once it is translated."""

    def __init__(self, code: str, template: str, **figures: object) -> None:
        super().__init__(template % figures if figures else template)
        self.code = code
        self.template = template
        self.figures = figures

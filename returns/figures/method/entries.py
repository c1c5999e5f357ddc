"""What an entry of the method page is made of."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from django.utils.translation import gettext_lazy as _


class Tag(StrEnum):
    """How we know a source."""

    READ = "read"
    SECOND_HAND = "second-hand"
    MEMORY = "from memory"
    PRACTICE = "common practice"
    OWN = "our own choice"


TAG_WORDS = {
    Tag.READ: _("read"),
    Tag.SECOND_HAND: _("read second-hand"),
    Tag.MEMORY: _("from memory"),
    Tag.PRACTICE: _("common practice, no source"),
    Tag.OWN: _("our own choice"),
}


@dataclass(frozen=True, slots=True)
class Source:
    """A title with year and section, or what was chosen, and how we know it."""

    text: Any
    tag: Tag

    @property
    def words(self) -> Any:
        return TAG_WORDS[self.tag]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One figure's method. `modules` are the sums behind it, below `inventory` or `returns`."""

    key: str
    title: Any
    answers: Any
    formula: Any
    sources: tuple[Source, ...]
    shown: Any
    limits: Any
    modules: tuple[str, ...]

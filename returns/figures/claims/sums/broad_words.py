"""Words that claim more than a share can prove, as a list for each language.

A list is data: add one under its language code and it counts. A star stands for the rest of a
word, a space also for a hyphen. `colours` are phrases in which such a word only names a colour.
Every list counts for every text, for a name may be in another language than its sentence.
Sources: UK CMA Green Claims Code, September 2021 ("green" and "sustainable" read as claims about
the whole product), and Directive (EU) 2024/825 (no generic claims, no neutrality by offsetting),
both read second-hand; the directive's own examples in recital 9, and all German words, from memory.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class BroadWords:
    """The words of one language, and the phrases with a colour that are none of them."""

    words: tuple[str, ...]
    colours: tuple[str, ...] = ()


LISTS: Mapping[str, BroadWords] = MappingProxyType(
    {
        "en": BroadWords(
            words=(
                "biobased", "bio based", "biodegradab*", "carbon free", "carbon friendly",
                "circular*", "climate*", "eco", "eco *", "ecofriendly", "ecological*",
                "energy efficien*", "environment*", "green", "greener", "greenest", "nature's *",
                "net zero", "*neutral*", "planet*", "sustainab*", "zero emission*",
            ),
            colours=(
                "bottle green", "bright green", "dark green", "light green", "moss green",
                "olive green", "pale green", "sea green", "in green", "green colour*",
                "green color*", "colour green", "color green",
            ),
        ),
        "de": BroadWords(
            words=(
                "biobasiert*", "biologisch abbaubar*", "emissionsfrei*", "energieeffizien*",
                "grün", "grüne", "grünem", "grünen", "grüner", "grünes", "grünere*", "grünste*",
                "klima*", "kreislauf*", "nachhaltig*", "naturfreundlich*", "netto null",
                "*neutral*", "öko", "öko *", "ökologisch*", "planet*", "umwelt*", "zirkulär*",
            ),
            colours=("in grün", "grüne farbe*", "grüner farbe*", "farbe grün"),
        ),
    }
)  # fmt: skip


def has_list(language: str) -> bool:
    """Tell whether a language, such as "de" or "de-at", has a list of its own."""
    return language.lower().replace("_", "-").split("-")[0] in LISTS


def found_in(text: str) -> str:
    """Return the first broad word of any language in a text, as it is written there, or ""."""
    # One form for a letter and its marks; a soft hyphen may not hide a word.
    plain = unicodedata.normalize("NFC", text).replace("\u00ad", "")
    # Colours are blanked letter for letter, so that positions still hold in the text as it was
    # written.
    broad = _BROAD.search(_COLOURS.sub(lambda match: " " * len(match.group(0)), plain))
    return plain[broad.start() : broad.end()] if broad else ""


def _pattern(phrases: Iterable[str]) -> re.Pattern[str]:
    # `re.escape` has put a backslash before star and blank; both are turned into what they stand
    # for. A hyphen of any kind joins two words as a blank does.
    forms = (
        re.escape(phrase).replace(r"\*", r"\w*").replace(r"\ ", r"[\s\-‐‑–]") for phrase in phrases
    )
    # Whole words only: "eco" is broad, and "second" is not. `\w` knows umlauts, which ASCII ranges
    # miss.
    return re.compile(rf"(?<!\w)(?:{'|'.join(forms)})(?!\w)", re.IGNORECASE)


_BROAD = _pattern(phrase for one in LISTS.values() for phrase in one.words)
_COLOURS = _pattern(phrase for one in LISTS.values() for phrase in one.colours)

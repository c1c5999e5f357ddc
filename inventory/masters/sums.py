"""Days on which the workshop is closed, as people type them, and promises counted past them.

And its logo, drawn anew.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable
from datetime import date, timedelta
from typing import Final

SPANS_MAX: Final = 60
SPAN_DAYS_MAX: Final = 366
_ISO = r"(?P<y{0}>[0-9]{{4}})-(?P<m{0}>[0-9]{{1,2}})-(?P<d{0}>[0-9]{{1,2}})"
_DOTTED = r"(?P<e{0}>[0-9]{{1,2}})\.(?P<n{0}>[0-9]{{1,2}})\.(?P<z{0}>[0-9]{{4}})"
_DAY = f"(?:{_ISO}|{_DOTTED})"
_LINE = re.compile(_DAY.format(1) + r"(?:\s*(?:to|until|bis|-|\u2013)\s*" + _DAY.format(2) + ")?")

Span = tuple[date, date]


class BadSpan(ValueError):
    """A line that names no day or span of days; `line` is the line as it was typed."""

    def __init__(self, line: str) -> None:
        super().__init__(line)
        self.line = line


def spans(text: str) -> list[Span]:
    """Read one day or span a line, such as 2026-12-24 or 24.12.2026 - 3.1.2027, sorted.

    Raises BadSpan for a line that is no day, ends before it begins, or is longer than a year, and
    for more than sixty lines.
    """
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if len(lines) > SPANS_MAX:
        raise BadSpan(lines[SPANS_MAX])
    return sorted(_span(line) for line in lines)


def _span(line: str) -> Span:
    found = _LINE.fullmatch(line)
    if found is None:
        raise BadSpan(line)
    try:
        first = _day(found, 1)
        last = _day(found, 2) if found["y2"] or found["z2"] else first
    except ValueError as error:
        raise BadSpan(line) from error
    if not 0 <= (last - first).days < SPAN_DAYS_MAX:
        raise BadSpan(line)
    return first, last


def _day(found: re.Match[str], which: int) -> date:
    names = "ymd" if found[f"y{which}"] else "zne"
    return date(*(int(found[f"{one}{which}"]) for one in names))


def promised(start: date, days: int, is_closed: Callable[[date], bool]) -> date:
    """Return the day that comes `days` days after `start`, days when it is closed not counted.

    Weekends count: a promise is told in days of the calendar.
    """
    day = start
    while days > 0:
        day += timedelta(days=1)
        days -= not is_closed(day)
    return day


def open_days(after: date, last: date, is_closed: Callable[[date], bool]) -> int:
    """Return how many days after `after`, up to and with `last`, count for a promise."""
    span = range(1, (last - after).days + 1)
    return sum(not is_closed(after + timedelta(days=one)) for one in span)


LOGO_BYTES_MAX: Final = 2_000_000
LOGO_SIDE_MAX: Final = 6_000
LOGO_BOX: Final = (480, 160)
"""In pixels; a larger picture is drawn smaller, for it goes with each page and letter."""


class BadPicture(ValueError):
    """Bytes that are no picture of ours: too many, too large, another format, or broken."""


def logo(upload: bytes) -> bytes:
    """Draw a JPEG, PNG or WebP anew as a PNG that fits `LOGO_BOX`. Raises BadPicture.

    Nothing of the file survives but its pixels: no metadata, and no bytes that a viewer could be
    tricked with. A drawing in SVG is refused, for it may carry a program.
    """
    from PIL import Image, ImageFile

    # Importing WeasyPrint switches this on for the whole process: half a file would pass then.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    if len(upload) > LOGO_BYTES_MAX:
        raise BadPicture("too many bytes")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(upload), formats=("PNG", "JPEG", "WEBP")) as image:
                if max(image.size) > LOGO_SIDE_MAX:
                    raise BadPicture("too many pixels")
                drawn = image.convert("RGBA")
    except BadPicture:
        raise
    # Decoders raise whatever they like on broken input.
    except Exception as error:
        raise BadPicture("cannot be read") from error
    drawn.thumbnail(LOGO_BOX)
    # Pixels are pasted into an empty picture: metadata would come along otherwise.
    bare = Image.new("RGBA", drawn.size)
    bare.paste(drawn)
    out = io.BytesIO()
    bare.save(out, "PNG", optimize=True)
    return out.getvalue()

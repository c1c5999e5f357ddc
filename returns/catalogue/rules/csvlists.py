"""Lists that a person uploads: CSV in UTF-8, read into rows of named cells, or refused in words."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from inventory.errors import BadInput

_SIGNS = (",", ";", "\t")
_SEP = re.compile(r"sep=", re.IGNORECASE)
BYTES_MAX = 1_000_000
ROWS_MAX = 20_000


@dataclass(frozen=True, slots=True)
class Line:
    """One row. `number` is its last line in the file; cells are stripped, missing ones empty."""

    number: int
    cells: dict[str, str]


def read(
    content: bytes, *, columns: Sequence[str], optional: Sequence[str] = ()
) -> tuple[Line, ...]:
    """Return the rows of a list: with a byte order mark or not, parted by comma, semicolon or tab.

    The header names its columns in any order and any case; columns of other names are ignored. A
    first line such as "sep=;", which some spreadsheets write, is passed over.
    Raises BadInput (field "file") for what is no such list: too large, another encoding, no
    header, a header that misses a column, no rows.
    """
    if len(content) > BYTES_MAX:
        raise _bad(_("The file is larger than 1 MB. Import it in parts."))
    try:
        # Spreadsheets write a byte order mark, which would else be a part of the first column's
        # name.
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _bad(_("The file is not in UTF-8. Save it as “CSV UTF-8” and try again.")) from error
    if "\x00" in text:
        raise _bad(_("This is no text file. Save the list as CSV and try again."))
    # `newline=""` leaves line ends inside quotation marks alone; `strict` raises on a mark that is
    # not closed instead of swallowing the rest of the file.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_sign(text), strict=True)
    try:
        return _lines(reader, columns, optional)
    except csv.Error as error:
        raise _bad(
            _("Line %(line)s is no proper CSV: look for a quotation mark that is not closed.")
            % {"line": reader.line_num}
        ) from error


def _sign(text: str) -> str:
    """Return the sign that parts the columns: the one that stands most often in the header."""
    lines = (line for line in text.splitlines() if line.strip() and not _SEP.match(line))
    head = next(lines, "")
    return max(_SIGNS, key=head.count)


def _lines(reader: Any, columns: Sequence[str], optional: Sequence[str]) -> tuple[Line, ...]:
    header: dict[str, int] | None = None
    found: list[Line] = []
    for cells in reader:
        if not any(cell.strip() for cell in cells) or (header is None and _SEP.match(cells[0])):
            continue
        if header is None:
            header = _header(cells, columns, optional)
            continue
        row = {name: _cell(cells, place) for name, place in header.items()}
        found.append(Line(reader.line_num, dict.fromkeys(optional, "") | row))
        if len(found) > ROWS_MAX:
            raise _bad(_("The list has more than 20 000 rows. Import it in parts."))
    if not found:
        raise _bad(_("The list has no rows below its header."))
    return tuple(found)


def _header(
    cells: Iterable[str], columns: Sequence[str], optional: Sequence[str]
) -> dict[str, int]:
    names = [cell.strip().lower() for cell in cells]
    missing = [name for name in columns if name not in names]
    if missing:
        facts = {
            "missing": ", ".join(missing),
            "columns": ", ".join(columns),
            "found": ", ".join(name[:20] for name in names[:20] if name) or "–",
        }
        raise _bad(
            _(
                "The header misses: %(missing)s. It needs: %(columns)s. The first line of the file "
                "has: %(found)s. Columns are parted by comma, semicolon or tab."
            )
            % facts
        )
    wanted = [name for name in (*columns, *optional) if name in names]
    twice = [name for name in wanted if names.count(name) > 1]
    if twice:
        raise _bad(_("The header names %(name)s twice.") % {"name": twice[0]})
    return {name: names.index(name) for name in wanted}


def _cell(cells: Sequence[str], index: int) -> str:
    return cells[index].strip() if index < len(cells) else ""


def _bad(message: str) -> BadInput:
    return BadInput(message, field="file")

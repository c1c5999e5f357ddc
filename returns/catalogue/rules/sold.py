"""Sold units: what a sales list says, checked row by row before a single row is written.

The list names batch, month and pieces. A row for a batch and month that is known already replaces
it, and only when the owner says so.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.db.models import Sum
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput
from inventory.events import Draft
from inventory.models import Event
from inventory.months.sums.calendar_month import BadMonth, Month, month_of
from returns.catalogue.rules import csvlists
from returns.figures.span.queries import zone
from returns.models import ProductionBatch, SoldUnits

if TYPE_CHECKING:
    from django.contrib.auth.models import User

COLUMNS = ("batch", "month", "pieces")
"""Header names of the list, in any order and any case; further columns are ignored."""

PIECES_MAX = 10_000_000
_CELL_SHOWN = 40
_WHOLE = re.compile(r"[0-9]{1,8}")


@dataclass(frozen=True, slots=True)
class Row:
    """One row as typed. `line` is its line in the file, or its place in a request from 1."""

    line: int
    batch: str
    month: str
    pieces: str


@dataclass(frozen=True, slots=True)
class Rejected:
    """A row that will not do, why, and the column to mend."""

    row: Row
    why: str
    column: str = ""


@dataclass(frozen=True, slots=True)
class Accepted:
    """A row that can be written. `known` is what the table says now; None for a new month."""

    line: int
    batch: ProductionBatch
    month: str
    pieces: int
    known: int | None

    @property
    def replaces(self) -> bool:
        return self.known is not None and self.known != self.pieces


@dataclass(frozen=True, slots=True)
class Verdict:
    """What an import of these rows would do. `before` and `after` are pieces over all months."""

    accepted: tuple[Accepted, ...]
    rejected: tuple[Rejected, ...]
    before: int
    after: int
    mark: str = field(default="", compare=False)

    @property
    def replacing(self) -> tuple[Accepted, ...]:
        return tuple(row for row in self.accepted if row.replaces)

    @property
    def new(self) -> tuple[Accepted, ...]:
        return tuple(row for row in self.accepted if row.known is None)

    @property
    def unchanged(self) -> int:
        return len(self.accepted) - len(self.new) - len(self.replacing)

    @property
    def is_clean(self) -> bool:
        return not self.rejected and bool(self.accepted)


def read(content: bytes) -> tuple[Row, ...]:
    """Return the rows of a list as `csvlists.read` takes it; BadInput (field "file") if none."""
    lines = csvlists.read(content, columns=COLUMNS)
    return tuple(Row(line.number, *(line.cells[name] for name in COLUMNS)) for line in lines)


def check(rows: Iterable[Row], *, at: datetime) -> Verdict:
    """Say of each row whether it can be written and, if not, why. Writes nothing."""
    listed = list(rows)
    codes = {row.batch for row in listed}
    batches = {
        # Batches and what is known of them come in one question each, however long the list.
        batch.code: batch
        for batch in ProductionBatch.objects.filter(code__in=_chunk(codes))
    }
    known = {
        (batch, month): pieces
        for batch, month, pieces in SoldUnits.objects.filter(
            batch__in=list(batches.values())
        ).values_list("batch__code", "month", "pieces")
    }
    accepted, rejected = _judged(listed, batches, known, month_of(at, zone()))
    accepted, too_many = _not_oversold(accepted, known)
    before = SoldUnits.objects.aggregate(total=Sum("pieces"))["total"] or 0
    return Verdict(
        accepted=tuple(accepted),
        rejected=tuple(sorted([*rejected, *too_many], key=lambda one: one.row.line)),
        before=before,
        after=before + sum(row.pieces - (row.known or 0) for row in accepted),
        mark=events.fingerprint(_facts(listed)),
    )


def _as_imported(rows: Sequence[Row], event: Event, at: datetime) -> Verdict:
    """Return the verdict of a repeat, with the totals that the first import wrote down."""
    now = check(rows, at=at)
    return Verdict(
        now.accepted, now.rejected, event.detail["before"], event.detail["after"], now.mark
    )


def _facts(rows: Iterable[Row]) -> list[Any]:
    return [[row.batch, row.month, row.pieces] for row in rows]


@events.rule("sold.bring_in", facts=_facts, again=_as_imported, aside=["replace"])
def bring_in(
    event: Draft, /, *, key: UUID, rows: Sequence[Row], replace: str = "", at: datetime, by: User
) -> Verdict:
    """Write a list whose every row is good; all of it or nothing.

    Rows that change a known month need `replace="confirmed"`. A repeat under the same key writes
    nothing again. Raises BadInput naming what stands in the way.
    """
    # The batches' rows are the lock: two imports cannot both fill up the same batch.
    wanted = _chunk({row.batch for row in rows})
    # `list` is what locks: a queryset that nobody reads asks nothing. In the order of keys, so that
    # two imports never wait for each other. SQLite ignores the lock, and its writers take turns
    # anyhow.
    list(ProductionBatch.objects.select_for_update().filter(code__in=wanted).order_by("pk"))
    verdict = check(rows, at=at)
    _refuse(verdict, replace)
    SoldUnits.objects.bulk_create(
        (
            SoldUnits(batch=row.batch, month=row.month, pieces=row.pieces, imported_at=at)
            for row in (*verdict.new, *verdict.replacing)
        ),
        # SQLite bounds how many values one statement may hold.
        batch_size=1000,
        update_conflicts=True,
        unique_fields=["batch", "month"],
        update_fields=["pieces", "imported_at"],
    )
    event.of(
        "sold",
        rows=len(verdict.accepted),
        replaced=[[r.batch.code, r.month, r.known, r.pieces] for r in verdict.replacing],
        before=verdict.before,
        after=verdict.after,
    )
    return verdict


def _refuse(verdict: Verdict, replace: str) -> None:
    if verdict.rejected:
        first = verdict.rejected[0]
        raise BadInput(
            _("Nothing was imported: %(count)s rows will not do. Line %(line)s: %(why)s")
            % {"count": len(verdict.rejected), "line": first.row.line, "why": first.why},
            field="rows",
            lines=[one.row.line for one in verdict.rejected],
        )
    if not verdict.accepted:
        raise BadInput(_("There is nothing to import."), field="rows")
    if verdict.replacing and replace != "confirmed":
        raise BadInput(
            _("%(count)s rows would change a month that is known. Confirm that they may.")
            % {"count": len(verdict.replacing)},
            field="replace",
        )


def _chunk(codes: set[str]) -> list[str]:
    """Keep codes that a batch can have. A list of nonsense must not become an endless question."""
    return sorted(code for code in codes if 0 < len(code) <= 20)


def _judged(
    rows: Iterable[Row],
    batches: Mapping[str, ProductionBatch],
    known: Mapping[tuple[str, str], int],
    now: Month,
) -> tuple[list[Accepted], list[Rejected]]:
    accepted: list[Accepted] = []
    rejected: list[Rejected] = []
    seen: dict[tuple[str, str], int] = {}
    for row in rows:
        try:
            good = _good(row, batches.get(row.batch), known, now)
            _refuse_twice(seen, good)
        except _No as no:
            rejected.append(Rejected(row, no.why, no.column))
        else:
            accepted.append(good)
    return accepted, rejected


class _No(Exception):
    """A row that will not do; never leaves this module."""

    def __init__(self, why: str, column: str) -> None:
        super().__init__(why)
        self.why = why
        self.column = column


def _good(
    row: Row,
    batch: ProductionBatch | None,
    known: Mapping[tuple[str, str], int],
    now: Month,
) -> Accepted:
    if batch is None:
        why = _("There is no batch “%(code)s”. Enter it first, or mend the code.")
        raise _No(why % {"code": row.batch[:_CELL_SHOWN]}, "batch")
    month = _month(row.month)
    if month < Month.of_date(batch.made_on):
        raise _No(
            _("The month lies before the batch was moulded, on %(day)s.")
            % {"day": batch.made_on.isoformat()},
            "month",
        )
    if month > now:
        raise _No(_("This month is still to come."), "month")
    return Accepted(
        row.line, batch, str(month), _pieces(row.pieces), known.get((batch.code, str(month)))
    )


def _month(text: str) -> Month:
    try:
        return Month.parse(text)
    except BadMonth as error:
        raise _No(_(error.template), "month") from error


def _pieces(text: str) -> int:
    if not _WHOLE.fullmatch(text) or int(text) > PIECES_MAX:
        raise _No(_("Pieces must be a whole number from 0 to 10 000 000."), "pieces")
    return int(text)


def _refuse_twice(seen: dict[tuple[str, str], int], row: Accepted) -> None:
    # The first row of a batch and month is good; each later one names it.
    earlier = seen.setdefault((row.batch.code, row.month), row.line)
    if earlier != row.line:
        raise _No(_("Batch and month stand in line %(line)s already.") % {"line": earlier}, "batch")


def _not_oversold(
    accepted: Sequence[Accepted], known: Mapping[tuple[str, str], int]
) -> tuple[list[Accepted], list[Rejected]]:
    """Refuse all rows of a batch that would sell more than the good pieces it had."""
    sold: Counter[str] = Counter()
    for (code, _month), pieces in known.items():
        sold[code] += pieces
    for row in accepted:
        # A row that replaces a month counts with its difference: the old pieces are in the sum
        # already.
        sold[row.batch.code] += row.pieces - (row.known or 0)
    # Which of a batch's rows is the one too many cannot be told, so all of them are refused.
    kept = [row for row in accepted if sold[row.batch.code] <= row.batch.pieces]
    over = [row for row in accepted if sold[row.batch.code] > row.batch.pieces]
    return kept, [_oversold(row, sold[row.batch.code]) for row in over]


def _oversold(row: Accepted, sold: int) -> Rejected:
    why = _("With this list %(sold)s pieces of the batch were sold, but %(made)s were made.") % {
        "sold": sold,
        "made": row.batch.pieces,
    }
    return Rejected(Row(row.line, row.batch.code, row.month, str(row.pieces)), why, "pieces")

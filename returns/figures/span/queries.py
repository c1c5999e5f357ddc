"""From which month to which, and of which model or batch: what every figure of the owner is of.

Months are calendar months on the workshop's clock. Masses count in the month in which they were
booked, as in the accountant's report; frames count by the moment they were weighed in or ended.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.errors import BadInput
from inventory.months.sums.calendar_month import BadMonth, Month, month_of
from returns.models import FrameModel, ProductionBatch, ReturnedFrame, SoldUnits
from returns.story.sums.states import FrameState

MONTHS_MAX = 120


@dataclass(frozen=True, slots=True)
class Span:
    """The first and the last month, both included; at most ten years.

    Raises BadInput when they are the wrong way round or too far apart.
    """

    first: Month
    last: Month

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise BadInput(_("The last month lies before the first one."), field="last")
        if index(self.last) - index(self.first) >= MONTHS_MAX:
            raise BadInput(_("Choose at most 120 months."), field="first")

    @classmethod
    def parse(cls, first: str, last: str) -> Span:
        """Read two months such as 2026-10; BadInput names the one that is none."""
        return cls(_month(first, "first"), _month(last, "last"))

    @classmethod
    def of_year_before(cls, at: datetime) -> Span:
        """Return twelve months, up to and including the month of `at`."""
        last = month_of(at, zone())
        return cls(by_index(index(last) - 11), last)

    @property
    def labels(self) -> tuple[str, str]:
        """Both months as text; texts of this form sort by time."""
        return str(self.first), str(self.last)

    @property
    def months(self) -> tuple[Month, ...]:
        """Every month of the span in order."""
        return tuple(by_index(n) for n in range(index(self.first), index(self.last) + 1))

    @property
    def start(self) -> datetime:
        """The first moment of the span, in UTC."""
        return self.first.span_utc(zone())[0]

    @property
    def end(self) -> datetime:
        """The first moment after the span, in UTC."""
        return self.last.span_utc(zone())[1]

    def holds(self, column: str) -> Q:
        """Return the condition that the moment in `column` lies in the span."""
        # Half-open, so that a moment at midnight belongs to one month only; and a plain range, so
        # that an index on the column serves.
        return Q(**{f"{column}__gte": self.start, f"{column}__lt": self.end})


@dataclass(frozen=True, slots=True)
class Scope:
    """One model, one production batch, or (with neither) everything of the workshop's make."""

    model: FrameModel | None = None
    batch: ProductionBatch | None = None

    @classmethod
    def of_codes(cls, *, model: str = "", batch: str = "") -> Scope:
        """Look both up by code; a batch brings its model. BadInput names the unknown one."""
        # The name of the scope reads the batch's model: fetched along, it costs no further
        # question.
        found = ProductionBatch.objects.select_related("colourway__model").filter(code=batch)
        if batch:
            made = found.first()
            if made is None:
                raise BadInput(_("There is no production batch with this code."), field="batch")
            if model not in ("", made.colourway.model.code):
                raise BadInput(_("This batch is of another model."), field="batch")
            return cls(made.colourway.model, made)
        if not model:
            return cls()
        named = FrameModel.objects.filter(code=model).first()
        if named is None:
            raise BadInput(_("There is no model with this code."), field="model")
        return cls(named)

    @property
    def is_whole(self) -> bool:
        return self.model is None and self.batch is None

    @property
    def name(self) -> str:
        """What a heading or a claim calls this scope."""
        if self.batch is not None:
            return _("%(model)s, batch %(batch)s") % {
                "model": self.batch.colourway.model.name,
                "batch": self.batch.code,
            }
        return self.model.name if self.model else _("All our frames")

    @property
    def codes(self) -> dict[str, str]:
        """Query parameters that name this scope again."""
        return {
            "model": self.model.code if self.model else "",
            "batch": self.batch.code if self.batch else "",
        }

    def frames(self) -> QuerySet[ReturnedFrame]:
        """Return the frames of our own make in this scope; a weigh-in that was undone is none."""
        return ReturnedFrame.objects.filter(
            self._filter("colourway__model", "batch"), is_stranger=False
        ).exclude(state=FrameState.VOIDED)

    def sold(self) -> QuerySet[SoldUnits]:
        return SoldUnits.objects.filter(self._filter("batch__colourway__model", "batch"))

    def batches(self) -> QuerySet[ProductionBatch]:
        return ProductionBatch.objects.filter(self._filter("colourway__model", "pk"))

    def _filter(self, model: str, batch: str) -> Q:
        if self.batch is not None:
            return Q(**{batch: self.batch.pk})
        return Q(**{model: self.model}) if self.model is not None else Q()


def zone() -> ZoneInfo:
    """Return the time zone of the workshop's clock."""
    # Not the current one: what a month is must not depend on who asks.
    found: Any = timezone.get_default_timezone()
    return found if isinstance(found, ZoneInfo) else ZoneInfo(str(found))


def index(month: Month) -> int:
    """Return a running month number: year * 12 + month - 1."""
    return month.year * 12 + month.number - 1


def by_index(number: int) -> Month:
    """Return the month of a running number; BadInput outside the calendar that the books cover."""
    try:
        return Month(number // 12, number % 12 + 1)
    except BadMonth as error:
        raise BadInput(_("Choose a month between 1970 and 2999.")) from error


def _month(text: str, field: str) -> Month:
    try:
        return Month.parse(text.strip())
    except BadMonth as error:
        raise BadInput(_(error.template), field=field) from error

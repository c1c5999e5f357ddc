"""Months of the books: where each stands, its report, and closing one."""

from __future__ import annotations

import json
from typing import Any

from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.errors import NotFound
from inventory.furniture.api.shapes import Body, Code, Moment
from inventory.furniture.api.views import ActionView, Detail, Face
from inventory.ledger.api import currency
from inventory.models import Month
from inventory.months import rules as closing
from inventory.months.queries import months, recovered, warnings
from inventory.months.queries.recovered import corrections
from inventory.months.sums.calendar_month import BadMonth


class ClosedAnswer(serializers.Serializer[Month]):
    """`digest` chains to the digest of the month before."""

    label = serializers.CharField()  # type: ignore[assignment]
    closed_at = Moment()
    closed_by = Code(by="username", allow_null=True)
    previous_digest = serializers.CharField()
    digest = serializers.CharField()
    last_movement = serializers.IntegerField(source="last_number")


class ListedAnswer(serializers.Serializer[months.Listed]):
    label = serializers.CharField()  # type: ignore[assignment]
    standing = serializers.CharField()
    digest = serializers.SerializerMethodField()

    def get_digest(self, listed: months.Listed) -> str | None:
        return listed.month.digest if listed.month else None


class MonthsAnswer(serializers.Serializer[Any]):
    results = ListedAnswer(many=True)


class Months(Face):
    """Every month from the first booked to the one that runs, the newest first."""

    scope = "read"
    answer_class = MonthsAnswer

    def get(self, _request: Request) -> Response:
        rows = months.listed(timezone.now())
        return Response(MonthsAnswer({"results": rows}).data)


class ReasonAnswer(serializers.Serializer[months.Reason]):
    code = serializers.CharField()
    text = serializers.CharField()
    subject = serializers.CharField()


class CorrectionAnswer(serializers.Serializer[Any]):
    """A later movement that puts a closed month right; `reverses` is null for a late fact."""

    number = serializers.IntegerField()
    kind = serializers.CharField()
    subject = serializers.CharField()
    booked_in = serializers.CharField()
    happened_on = serializers.DateField()
    reverses = serializers.IntegerField(allow_null=True)
    mass_mg = serializers.IntegerField()
    pieces = serializers.IntegerField()
    cost_minor = serializers.IntegerField()
    currency = serializers.SerializerMethodField()
    reason = serializers.CharField()

    def get_currency(self, _made: Any) -> str:
        return currency(self.context)


class MonthAnswer(serializers.Serializer[Any]):
    """`reasons` lists what keeps an open month from being closed now.

    `warnings` speak against its figures and are acknowledged at the close.
    `changed_since_closing` lists what later months have booked that puts a closed one right.
    """

    label = serializers.CharField()  # type: ignore[assignment]
    standing = serializers.CharField()
    reasons = ReasonAnswer(many=True)
    closed = ClosedAnswer(allow_null=True)
    warnings = ReasonAnswer(many=True)
    changed_since_closing = CorrectionAnswer(many=True)


class OneMonth(Detail):
    """Show where one month stands: open or closed, and what is still in the way of closing it.

    Answers `not-found` for a label that is no month of the books.
    """

    scope = "read"
    answer_class = MonthAnswer

    def instance(self) -> dict[str, Any]:
        label, now = self.kwargs["label"], timezone.now()
        months.parsed(label)
        closed = months.closed(label)
        try:
            reasons = [] if closed else months.reasons(label, now)
        except BadMonth as error:
            raise NotFound() from error
        return {
            "label": label,
            "standing": months.standing(label, now),
            "reasons": reasons,
            "closed": closed,
            "warnings": [] if closed else _warned(label),
            "changed_since_closing": corrections.made_to(label) if closed else (),
        }


def _warned(label: str) -> list[months.Reason]:
    return warnings.of_report(recovered.of_month(label))


class ReportAnswer(serializers.Serializer[Any]):
    """The recovered-material report. `digest` is the SHA-256 of the figures in canonical form."""

    label = serializers.CharField()  # type: ignore[assignment]
    standing = serializers.CharField()
    digest = serializers.CharField()
    figures = serializers.JSONField()


class Report(Detail):
    """Show the recovered-material report of one month, open or closed, with its SHA-256 digest.

    Masses are in mg, pieces whole, money in minor units of the workshop's currency. A closed
    month's report never changes. Answers `not-found` for a label that is no month.
    """

    scope = "accounts"
    answer_class = ReportAnswer

    def instance(self) -> dict[str, Any]:
        label = self.kwargs["label"]
        try:
            report = recovered.of_month(label)
        except BadMonth as error:
            raise NotFound() from error
        return {
            "label": label,
            "standing": months.standing(label, timezone.now()),
            "digest": recovered.digest(report),
            "figures": json.loads(recovered.canonical(report)),
        }


class CloseBody(Body):
    acknowledged = serializers.CharField(
        max_length=300,
        allow_blank=True,
        default="",
        help_text="Why the month may be closed in spite of its warnings.",
    )
    seen = serializers.CharField(
        max_length=64,
        allow_blank=True,
        default="",
        help_text="The digest of the report that was read; other figures by then are refused.",
    )


class Close(ActionView):
    """Close a month for good. It never changes again.

    Months are closed in order, after their end. Answers `month-closed` when it or a later one is
    closed already, `month-not-ready` with `reasons` while something dangles, `not-acknowledged`
    with `warnings` where there are any and no reason is sent, and `stale-state` when the figures
    are not those that were seen.
    """

    scope = "accounts"
    body_class = CloseBody
    made_class = ClosedAnswer
    made_status = 200

    def perform(self, data: dict[str, Any]) -> Month:
        label = self.kwargs["label"]
        months.parsed(label)
        return closing.close(key=self.action_key, label=label, at=self.at, by=self.by, **data)

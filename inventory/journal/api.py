"""The journal for the accountant's books: trial balance of a month, and the exports."""

from __future__ import annotations

import json
from typing import Any

from django.utils import timezone
from rest_framework import serializers

from inventory.furniture.api.shapes import Body, Code, Moment
from inventory.furniture.api.views import ActionView, Detail, Listing
from inventory.journal import queries, rules, writing
from inventory.models import JournalExport
from inventory.months.queries import months


class TrialBalanceRow(serializers.Serializer[queries.Balance]):
    account = serializers.CharField()
    opening_minor = serializers.IntegerField()
    debit_minor = serializers.IntegerField()
    credit_minor = serializers.IntegerField()
    closing_minor = serializers.IntegerField()
    year_debit_minor = serializers.IntegerField()
    year_credit_minor = serializers.IntegerField()


class TrialBalanceAnswer(serializers.Serializer[queries.TrialBalance]):
    """Openings and closings are signed, a debit balance above zero; `untied` is empty in sound
    books."""

    label = serializers.CharField()  # type: ignore[assignment]
    currency = serializers.CharField()
    rows = TrialBalanceRow(many=True)
    untied = serializers.ListField(child=serializers.CharField())
    carried_from = serializers.SerializerMethodField()
    carried_digest = serializers.SerializerMethodField()
    digest = serializers.SerializerMethodField()

    def get_carried_from(self, balance: queries.TrialBalance) -> str | None:
        return balance.carried_from.label if balance.carried_from else None

    def get_carried_digest(self, balance: queries.TrialBalance) -> str | None:
        return balance.carried_from.digest if balance.carried_from else None

    def get_digest(self, balance: queries.TrialBalance) -> str | None:
        return balance.closed.digest if balance.closed else None


class TrialBalance(Detail):
    """Show the trial balance of a month: opening, debits, credits and closing of each account.

    Money is in minor units. Answers `not-found` for a label that is no month.
    """

    scope = "accounts"
    answer_class = TrialBalanceAnswer

    def instance(self) -> queries.TrialBalance:
        label = self.kwargs["label"]
        months.known(label, timezone.now())
        return queries.trial_balance(label)


class ExportAnswer(serializers.Serializer[JournalExport]):
    """`lines_sha256` is the digest of the lines; debits equal credits."""

    number = serializers.IntegerField()
    month = serializers.CharField()
    made_at = Moment()
    made_by = Code(by="username", allow_null=True)
    lines = serializers.IntegerField()
    debit_minor = serializers.IntegerField()
    credit_minor = serializers.IntegerField()
    lines_sha256 = serializers.CharField(source="digest")


class ExportBody(Body):
    month = serializers.CharField(max_length=7, help_text="The closed month, such as 2026-10.")


class Exports(ActionView, Listing):
    """List the journals that were handed over, or hand over that of a closed month.

    Money is in minor units; each export has its number and its check totals. Answers `conflict`
    while the month is open, was handed over before, is not the next one, or has accounts without
    a number.
    """

    scope = "accounts"
    serializer_class = ExportAnswer
    queryset = JournalExport.objects.order_by("number").select_related("made_by")
    body_class = ExportBody
    made_class = ExportAnswer

    def perform(self, data: dict[str, Any]) -> JournalExport:
        return rules.hand_over(key=self.action_key, label=data["month"], at=self.at, by=self.by)


class ExportedAnswer(serializers.Serializer[Any]):
    """The export as its JSON file has it: every line once, and the balances it ties to."""

    export = serializers.JSONField()


class OneExport(Detail):
    """Show an export with all its lines; each time the same. Money is in minor units.

    Answers `not-found` for another number.
    """

    scope = "accounts"
    answer_class = ExportedAnswer

    def instance(self) -> dict[str, Any]:
        out = queries.handed_over(queries.export(self.kwargs["number"]))
        return {"export": json.loads(writing.journal_json(out))}

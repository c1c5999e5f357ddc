"""Production batches, and the sold units that an import says of them."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from inventory.furniture.api import filters
from inventory.furniture.api.shapes import Body, Code, KnownTogether, Pieces, found
from inventory.furniture.api.views import ActionView, Detail, Listing
from returns.catalogue.rules import sold
from returns.catalogue.rules.sold import Row, Verdict
from returns.furniture.api.lookups import ColourwayCode, colourway_code
from returns.models import BatchMaterial, ProductionBatch
from returns.moulding import queries as batch_heat
from returns.moulding import rules as batches
from returns.regrind.api.boxes import HeatShare, heat_shares

# Our own choice: what fits a body of 2 MB with room to spare.
ROWS_MAX = 20_000


class BatchFilter(filters.FilterSet):
    model = filters.CharFilter(field_name="colourway__model__code", max_length=30)


class MaterialHeat(serializers.Serializer[BatchMaterial]):
    """The heat passes of one material of a batch whose front and arms differ."""

    polymer = Code()
    colour = Code()
    heat = serializers.SerializerMethodField()

    @extend_schema_field(HeatShare(many=True))
    def get_heat(self, row: BatchMaterial) -> list[dict[str, int]]:
        return heat_shares(row.heat)


class SettingsAnswer(serializers.Serializer[ProductionBatch]):
    """What is noted on the batch card; null where nothing was noted."""

    mould_temperature_c = serializers.IntegerField(allow_null=True)
    melt_temperature_c = serializers.IntegerField(allow_null=True)
    force_n = serializers.IntegerField(allow_null=True)
    press_time_s = serializers.IntegerField(allow_null=True)
    work_minutes = serializers.IntegerField(allow_null=True)
    settings_note = serializers.CharField()


class BatchAnswer(serializers.Serializer[ProductionBatch]):
    """`known` tells of `issued_mg`; null where the batch took only a part of its issues."""

    code = serializers.CharField()
    colourway = serializers.SerializerMethodField()
    made_on = serializers.DateField()
    pieces = serializers.IntegerField()
    heat = serializers.SerializerMethodField()
    issued_mg = serializers.IntegerField(
        help_text="When the batch was noted. An issue that was taken back since still counts here."
    )
    known = KnownTogether(ask=batch_heat.known_issues, by="code")
    materials = MaterialHeat(many=True, help_text="Empty where all of it is of one material.")
    settings = SettingsAnswer(source="*")

    def get_colourway(self, batch: ProductionBatch) -> str:
        return colourway_code(batch.colourway)

    @extend_schema_field(HeatShare(many=True))
    def get_heat(self, batch: ProductionBatch) -> list[dict[str, int]]:
        return heat_shares(batch.heat)


class MouldBody(Body):
    code = serializers.CharField(max_length=20)
    colourway = ColourwayCode()
    made_on = serializers.DateField()
    pieces = Pieces()


class Batches(ActionView, Listing):
    """GET lists the production batches; POST notes one that has been moulded.

    The material of a batch is what was issued under its code, one heat pass older. Heat is told in
    parts per million of the mass at each number of passes. POST answers `bad-input` when nothing
    was issued under the code, a lot was of another polymer or the day is still to come, and
    `conflict` when the batch exists already.
    """

    scope = "bench"
    read_scope = "read"
    serializer_class = BatchAnswer
    filterset_class = BatchFilter
    queryset = ProductionBatch.objects.select_related(
        "colourway__model", "colourway__colour"
    ).prefetch_related("materials__polymer", "materials__colour")
    body_class = MouldBody
    made_class = BatchAnswer

    def perform(self, data: dict[str, Any]) -> ProductionBatch:
        return batches.mould(key=self.action_key, at=self.at, by=self.by, **data)


class OneBatch(Detail):
    """Show a production batch with its settings and its heat, material by material.

    Answers `not-found` for another code.
    """

    scope = "read"
    answer_class = BatchAnswer

    def instance(self) -> ProductionBatch:
        batch: ProductionBatch = found(Batches.queryset.all(), code=self.kwargs["code"])
        return batch


def _setting(name: str, unit: str) -> serializers.IntegerField:
    most = batches.SETTINGS_MAX[name]
    return serializers.IntegerField(
        min_value=0, max_value=most, required=False, allow_null=True, help_text=unit
    )


class SettingsBody(Body):
    """What is left out is noted as unknown."""

    mould_temperature_c = _setting("mould_temperature_c", "Degrees Celsius.")
    melt_temperature_c = _setting("melt_temperature_c", "Degrees Celsius.")
    force_n = _setting("force_n", "Newtons.")
    press_time_s = _setting("press_time_s", "Seconds.")
    work_minutes = _setting("work_minutes", "On the whole batch, to the finished pair.")
    settings_note = serializers.CharField(
        max_length=batches.NOTE_LENGTH_MAX, allow_blank=True, default=""
    )


class BatchSettings(ActionView):
    """Write the settings on a batch's card, over what was noted; the history keeps both.

    Answers `bad-input` for a figure that no press has.
    """

    scope = "bench"
    body_class = SettingsBody
    made_class = BatchAnswer
    made_status = 200

    def perform(self, data: dict[str, Any]) -> ProductionBatch:
        batch: ProductionBatch = found(Batches.queryset.all(), code=self.kwargs["code"])
        settings = batches.Settings(**data)
        return batches.note_settings(
            key=self.action_key, batch=batch, settings=settings, at=self.at, by=self.by
        )


class SoldRowBody(Body):
    batch = serializers.CharField(max_length=40)
    month = serializers.CharField(max_length=40)
    pieces = serializers.IntegerField(min_value=0, max_value=sold.PIECES_MAX)


class SoldBody(Body):
    rows = serializers.ListSerializer[Any](child=SoldRowBody(), min_length=1, max_length=ROWS_MAX)


class ImportBody(SoldBody):
    replace = serializers.ChoiceField(
        choices=["", "confirmed"],
        default="",
        help_text="“confirmed” lets rows change a month that is known.",
    )


class RefusedRow(serializers.Serializer[Any]):
    row = serializers.IntegerField(source="row.line")
    why = serializers.CharField()


class ReplacedRow(serializers.Serializer[Any]):
    row = serializers.IntegerField(source="line")
    batch = serializers.CharField(source="batch.code")
    month = serializers.CharField()
    known = serializers.IntegerField()
    pieces = serializers.IntegerField()


class VerdictAnswer(serializers.Serializer[Verdict]):
    """Rows are counted from 1. `before` and `after` are pieces over all batches and months."""

    is_clean = serializers.BooleanField()
    accepted = serializers.SerializerMethodField()
    refused = RefusedRow(source="rejected", many=True)
    replacing = ReplacedRow(many=True)
    unchanged = serializers.IntegerField()
    before = serializers.IntegerField()
    after = serializers.IntegerField()

    def get_accepted(self, verdict: Verdict) -> int:
        return len(verdict.accepted)


class Trials(ActionView):
    """Say of each row of a sales list whether an import would write it, and if not, why.

    Nothing is written. Answers `bad-input` only for a body that is no list of rows; what is wrong
    with a row is in the answer.
    """

    scope = "owner"
    body_class = SoldBody
    made_class = VerdictAnswer
    made_status = 200

    def perform(self, data: dict[str, Any]) -> Verdict:
        return sold.check(listed(data["rows"]), at=self.at)


class Imports(ActionView):
    """Write a list of sold units, in pieces by batch and month: all of it or nothing.

    Answers `bad-input`, naming the row, when one of them is not good, or would change a month that
    is known while `replace` is not “confirmed”.
    """

    scope = "owner"
    body_class = ImportBody
    made_class = VerdictAnswer

    def perform(self, data: dict[str, Any]) -> Verdict:
        return sold.bring_in(
            key=self.action_key,
            rows=listed(data["rows"]),
            replace=data["replace"],
            at=self.at,
            by=self.by,
        )


def listed(rows: list[dict[str, Any]]) -> list[Row]:
    """Return the rows as the rule takes them, numbered from 1."""
    return [
        # Text again, as in a file: both ways in are judged by the same rule.
        Row(index, row["batch"], row["month"], str(row["pieces"]))
        for index, row in enumerate(rows, start=1)
    ]

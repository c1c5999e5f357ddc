"""What the owner sells and how it is mended: models with their bills, batches, remedies, limits.

Partners, their slips and walk-ins are read here alone: rules own them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

from django.contrib import admin
from django.core.exceptions import ValidationError
from django.forms.models import BaseInlineFormSet
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from inventory.admin import Book, Form, Lines, Master, OneRow
from inventory.material.sums.heat import BadHeatSpread, HeatSpread
from returns.catalogue import queries as catalogue
from returns.catalogue.queries import Material
from returns.models import (
    Colourway,
    Component,
    DifferingComponent,
    EmissionFactors,
    FrameModel,
    Partner,
    PartnerSlip,
    Policy,
    ProductionBatch,
    Remedy,
    RemedyPart,
    RepairScores,
    SoldUnits,
    WalkIn,
)

if TYPE_CHECKING:
    FormSet = BaseInlineFormSet[Component, FrameModel, Any]
else:
    FormSet = BaseInlineFormSet


@admin.register(Policy)
class PolicyAdmin(OneRow):
    """The owner's limits."""


class ComponentForm(Form):
    class Meta:
        model = Component
        fields = (
            "key",
            "kind",
            "nominal_mg",
            "spread_mg",
            "is_frame_material",
            "part",
            "in_kit",
            "wall_um",
        )
        # Headings are shown in capitals, where µm would read as MM.
        labels: ClassVar[dict[str, Any]] = {"wall_um": _("wall around the hole, micrometres")}

    def clean(self) -> dict[str, Any]:
        facts: dict[str, Any] = super().clean() or {}
        nominal, spread = facts.get("nominal_mg"), facts.get("spread_mg")
        if nominal and spread is not None and spread >= nominal:
            self.add_error("spread_mg", _("The spread is smaller than the mass itself."))
        if facts.get("in_kit") and not facts.get("part"):
            self.add_error("part", _("What comes in the spare kit needs its spare part."))
        return facts


class BillFormSet(FormSet):
    """A bill needs some frame material, or nothing of the frame could be ground."""

    def clean(self) -> None:
        super().clean()
        kept = [
            form.cleaned_data
            for form in self.forms
            if getattr(form, "cleaned_data", None) and not form.cleaned_data.get("DELETE")
        ]
        if kept and not any(line.get("is_frame_material") for line in kept):
            raise ValidationError(_("Mark at least one component as frame polymer."))


class BillLines(Lines):
    model = Component
    form = ComponentForm
    formset = BillFormSet
    extra = 0
    verbose_name_plural = _("bill of materials")


class RepairLines(Lines):
    model = RepairScores
    extra = 0
    verbose_name_plural = _("how easy each component is to repair")


@admin.register(FrameModel)
class FrameModelAdmin(Master):
    fixed = ("code",)
    list_display = ("code", "name", "rim", "active", "new_frame_cost_minor", "expected_life_months")
    inlines: ClassVar[list[Any]] = [BillLines, RepairLines]


class DifferingForm(Form):
    class Meta:
        model = DifferingComponent
        fields = ("key", "polymer", "colour", "part")

    def clean(self) -> dict[str, Any]:
        facts: dict[str, Any] = super().clean() or {}
        part, key, row = facts.get("part"), facts.get("key"), self.instance
        if part is None or not key or row.colourway_id is None:
            return facts
        way = row.colourway
        piece = way.model.components.filter(key=key).first()
        named = facts.get("polymer") or way.polymer, facts.get("colour") or way.colour
        material = Material(*named) if piece is not None and piece.is_frame_material else None
        why = catalogue.misfit(part, key, material, way.lens_tint)
        if why:
            self.add_error("part", why)
        return facts


class DifferingLines(Lines):
    model = DifferingComponent
    form = DifferingForm
    extra = 0
    verbose_name_plural = _("components that differ")


@admin.register(Colourway)
class ColourwayAdmin(Master):
    """Materials stay as frames were sold; spare parts, names and tints may change."""

    fixed = ("model", "colour", "polymer", "variant")
    list_display = ("model", "colour", "polymer", "variant", "name", "active")
    list_select_related = ("model", "colour", "polymer")
    list_filter = ("model", "active")
    inlines: ClassVar[list[Any]] = [DifferingLines]


class BatchForm(Form):
    class Meta:
        model = ProductionBatch
        fields = ("code", "colourway", "made_on", "pieces", "heat")
        help_texts: ClassVar[dict[str, Any]] = {
            "heat": _(
                "For each number of heat passes its share of the mass, the moulding of this batch "
                "included; shares add up to 1 000 000. All of it melted twice: [[2, 1000000]]"
            )
        }

    def clean_heat(self) -> Any:
        try:
            return HeatSpread.from_list(self.cleaned_data["heat"]).to_list()
        except BadHeatSpread as error:
            raise ValidationError(_(error.template)) from error


@admin.register(ProductionBatch)
class ProductionBatchAdmin(Master):
    """What was issued for a batch names it by its code alone, so the database cannot protect it."""

    fixed = ("code",)
    form = BatchForm
    list_display = ("code", "colourway", "made_on", "pieces")
    list_select_related = ("colourway__model", "colourway__colour")
    list_filter = ("colourway__model",)
    search_fields = ("code",)
    date_hierarchy = "made_on"

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        is_moulded = obj is not None and bool(obj.issued_mg)
        return not is_moulded and super().has_delete_permission(request, obj)


@admin.register(EmissionFactors)
class EmissionFactorsAdmin(Master):
    list_display = ("year", "virgin_g_per_t", "process_g_per_t", "source")


class RemedyPartLines(Lines):
    model = RemedyPart
    extra = 0


@admin.register(Remedy)
class RemedyAdmin(Master):
    list_display = ("name", "component_kind", "defect", "method", "minutes", "odds_ppm", "active")
    list_filter = ("component_kind", "defect", "active")
    search_fields = ("key", "name")
    inlines: ClassVar[list[Any]] = [RemedyPartLines]


@admin.register(SoldUnits)
class SoldUnitsAdmin(Book):
    """Read here; the sales list is the only way in."""

    list_display = ("batch", "month", "pieces", "imported_at")
    list_select_related = ("batch",)
    list_filter = ("month",)


@admin.register(Partner)
class PartnerAdmin(Book):
    """Read here; a partner is entered, and its link given and revoked, on the owner's own pages."""

    fields = ("name", "town", "added_at", "closed_at")
    list_display = ("name", "town", "added_at", "closed_at")


@admin.register(PartnerSlip)
class PartnerSlipAdmin(Book):
    """Read here, without the salt of its link; a slip is made with its sheet."""

    fields = ("partner", "sheet", "code", "made_at", "request", "parcel", "arrived_at")
    list_display = ("code", "partner", "sheet", "made_at", "arrived_at")
    list_select_related = ("partner",)
    list_filter = ("partner",)
    search_fields = ("code",)


@admin.register(WalkIn)
class WalkInAdmin(Book):
    """Read here: who saw the consent, and how it was given."""

    fields = ("request", "consent", "seen_by", "at")
    list_display = ("request", "consent", "seen_by", "at")
    list_select_related = ("request", "seen_by")
    list_filter = ("consent",)

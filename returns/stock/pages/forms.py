"""Forms of the stock room: material in and out, counts, parts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.db.models import Sum
from django.forms.boundfield import BoundField
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _

from inventory.furniture.pages.forms import (
    ActionForm,
    LateForm,
    MassField,
    ScaleField,
    ScansField,
    WeighedForm,
)
from inventory.ledger.queries import naming
from inventory.ledger.sums.scans import folded, lines, meant
from inventory.material.rules import material
from inventory.material.sums import heat
from inventory.models import Colour, Lot, Origin, Part, Place, Polymer, SpoilCause, Step
from returns.kits.rules import receiving
from returns.models import Colourway, ProductionBatch
from returns.setup.pages.fields import money
from returns.spoiling import rules as spoiling

LOTS_MAX = 60
BOUGHT = [(Origin.FEEDSTOCK, Origin.FEEDSTOCK.label), (Origin.VIRGIN, Origin.VIRGIN.label)]
INTO = [
    ("box", _("its regrind box, to be ground here")),
    ("lot", _("a lot of its own, ready for moulding")),
]


class MaterialForm(WeighedForm):
    """The class of material, its heat passes, and the reading."""

    polymer = forms.ModelChoiceField(Polymer.objects.all(), label=_("Polymer"))
    colour = forms.ModelChoiceField(Colour.objects.all(), label=_("Colour"))
    passes = forms.IntegerField(
        label=_("Heat passes so far"),
        min_value=0,
        max_value=heat.PASSES_MAX,
        help_text=_("How often it has been moulded. Pots that were in use: 1. Pellets: 0."),
    )
    note = forms.CharField(required=False, max_length=120, label=_("Supplier or note"))
    cost = money(label=_("What it cost altogether"), required=False)

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        data = self.cleaned_data
        return {"material": self.material(), "weighing": weighed(data)}

    def material(self) -> material.Material:
        """Return the material as the rules take it."""
        data = self.cleaned_data
        return material.Material(
            polymer=data["polymer"],
            colour=data["colour"],
            origin=data["origin"],
            heat=heat.of_passes(data["passes"]),
            note=data["note"],
            cost_minor=data["cost"] or 0,
        )


class FeedstockForm(LateForm, MaterialForm):
    origin = forms.ChoiceField(label=_("Origin"), choices=BOUGHT, widget=forms.RadioSelect)
    into = forms.ChoiceField(label=_("It goes into"), choices=INTO, widget=forms.RadioSelect)


class OpeningForm(MaterialForm):
    """What was there before the ledger began."""

    origin = forms.ChoiceField(label=_("Origin"), choices=Origin.choices, widget=forms.RadioSelect)
    into = forms.ChoiceField(label=_("It lies in"), choices=INTO, widget=forms.RadioSelect)


def _box_field(label: Any) -> forms.ModelChoiceField[Colour]:
    return forms.ModelChoiceField(
        Colour.objects.all(),
        label=label,
        to_field_name="code",
        required=False,
        empty_label=_("the box of its material"),
        help_text=_("Only where front and arms differ: a material of its own, or what takes both."),
    )


class ScrapForm(LateForm, WeighedForm):
    """Sprues and runners of a batch: its materials and their heat passes are known."""

    field_order = ("batch", "colour", "scale", "mass")
    batch = forms.ModelChoiceField(
        ProductionBatch.objects.select_related("colourway__model", "colourway__colour"),
        label=_("From batch"),
    )
    colour = _box_field(_("Into the box of"))

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        data = self.cleaned_data
        return {"batch": data["batch"], "into": data["colour"], "weighing": weighed(data)}


class PurgeForm(WeighedForm):
    """What lay between two colours: to the box of such leavings, or to waste."""

    colour = forms.ModelChoiceField(
        Colour.objects.filter(kind=Colour.Kind.PURGE),
        label=_("It goes into"),
        required=False,
        empty_label=_("the purge waste"),
        help_text=_("A box for it is a colour of its own, entered at the set-up."),
    )
    polymer = forms.ModelChoiceField(Polymer.objects.all(), label=_("Polymer"), empty_label=None)
    passes = forms.IntegerField(
        label=_("Heat passes by now"),
        min_value=1,
        max_value=heat.PASSES_MAX,
        initial=2,
        help_text=_("This trip through the melt included."),
    )
    reason = forms.CharField(
        label=_("From which colour to which, or why it was purged"), max_length=120
    )

    field_order = ("colour", "polymer", "passes", "scale", "mass", "reason")

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        data = self.cleaned_data
        names = ("colour", "polymer", "passes", "reason")
        return {"weighing": weighed(data)} | {name: data[name] for name in names}


@dataclass(frozen=True, slots=True)
class IssueRow:
    """A lot that something may be taken from. Picked: its label was scanned or a mass is typed."""

    lot: Lot
    held_mg: int
    mass: BoundField
    is_picked: bool


class SpoiledForm(WeighedForm):
    """Spoiled pairs of a batch, of one step and one cause."""

    field_order = (
        *("batch", "step", "cause", "pieces", "goes"),
        *("scale", "mass", "colour", "other_mass", "other_colour"),
    )
    batch = forms.ModelChoiceField(
        ProductionBatch.objects.select_related("colourway__colour", "colourway__model"),
        label=_("From batch"),
        to_field_name="code",
    )
    step = forms.ChoiceField(label=_("At which step"), choices=Step.choices)
    cause = forms.ChoiceField(label=_("Cause"))
    pieces = forms.IntegerField(label=_("Pairs spoiled"), min_value=1, max_value=100_000)
    goes = forms.ChoiceField(
        label=_("Where they go"),
        choices=[
            (spoiling.BOX, _("the box of in-process scrap, to be ground")),
            (spoiling.WASTE, _("waste: burnt, dirty or mixed")),
        ],
        initial=spoiling.BOX,
        widget=forms.RadioSelect,
    )
    colour = _box_field(_("Into the box of"))
    other_mass = MassField(
        label=_("Mass of the other material"),
        required=False,
        help_text=_("Only where front and arms differ and were cut apart."),
    )
    other_colour = _box_field(_("The other one into the box of"))

    def __init__(self, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        self.fields["cause"].choices = list(SpoilCause.offered().items())  # type: ignore[attr-defined]

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        data = self.cleaned_data
        what = spoiling.What(
            step=data["step"], cause=data["cause"], pieces=data["pieces"], into=data["goes"]
        )
        heaps = [spoiling.ScrapHeap(mass=data["mass"], into=data["colour"])]
        if data["other_mass"] or data["other_colour"]:
            other = data["other_mass"], data["other_colour"]
            heaps.append(spoiling.ScrapHeap(mass=other[0], into=other[1]))
        return {"batch": data["batch"], "what": what, "scale": data["scale"], "heaps": heaps}


class IssueForm(ActionForm):
    batch_code = forms.CharField(
        label=_("For production batch"),
        max_length=material.BATCH_CODE_LENGTH_MAX,
        help_text=_("The code that goes on the batch card, for example AV-2610."),
    )
    scale = ScaleField()
    scanned = ScansField(
        kind="lot",
        label=_("Labels of the lots"),
        help_text=_("Scan each lot that you take from, or type its code, one a line."),
    )

    def __init__(self, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        rows = Lot.objects.select_related("polymer", "colour", "place")
        rows = rows.filter(place__balance__quantity__gt=0)
        rows = rows.annotate(held_mg=Sum("place__balance__quantity"))
        # Read once and kept: `facts` must look for the same lots that the fields were made for.
        oldest = rows.order_by("made_at", "code")[:LOTS_MAX]
        self.lots = sorted(oldest, key=lambda lot: (lot.polymer.code, lot.colour.name))
        for lot in self.lots:
            self.fields[f"lot-{lot.pk}"] = MassField(required=False, label=lot.code)
            # The script leads from a lot's scan to its mass.
            self.fields[f"lot-{lot.pk}"].widget.attrs["data-label"] = lot.code

    def rows(self) -> list[IssueRow]:
        """Return a row for each lot, by plastic and colour, the oldest first."""
        texts = lines(str(self["scanned"].value() or ""))
        scanned = {folded(meant(text)).removeprefix("lot") for text in texts}
        return [self._row(lot, scanned) for lot in self.lots]

    def _row(self, lot: Lot, scanned: set[str]) -> IssueRow:
        mass, held_mg = self[f"lot-{lot.pk}"], getattr(lot, "held_mg", 0)
        return IssueRow(lot, held_mg, mass, bool(mass.value()) or folded(lot.code) in scanned)

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        data = self.cleaned_data
        lots = {lot: data[f"lot-{lot.pk}"] for lot in self.lots if data[f"lot-{lot.pk}"]}
        return {
            "lots": lots,
            "scanned": data["scanned"],
            "batch_code": data["batch_code"],
            "scale": data["scale"],
        }


class MouldForm(ActionForm):
    code = forms.CharField(label=_("Production batch"), max_length=20)
    colourway = forms.ModelChoiceField(
        Colourway.objects.filter(active=True).select_related("model", "colour"),
        label=_("Model and colour"),
    )
    made_on = forms.DateField(
        label=_("Moulded on"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    pieces = forms.IntegerField(label=_("Good pieces"), min_value=1, max_value=1_000_000)

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        return {name: data for name, data in self.cleaned_data.items() if name != "key"}


class PlaceField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """Places to choose from, as people call them."""

    def label_from_instance(self, obj: Place) -> str:
        return naming.words(obj)


class CountForm(WeighedForm):
    place = PlaceField(
        Place.objects.filter(kind__in=material.COUNTED).select_related("lot", "colour", "polymer"),
        label=_("What was counted"),
    )
    reason = forms.CharField(label=_("Why it was counted"), max_length=200)

    field_order = ["place", "scale", "mass", "reason"]

    def __init__(self, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        self.fields["mass"].help_text = _t("Write 0 when it is empty.")

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        data = self.cleaned_data
        # The mass is still as typed: the rule parses it once, by what the scale can show.
        return {"place": data["place"], "weighing": weighed(data), "reason": data["reason"]}


class DisposeForm(LateForm):
    place = PlaceField(
        Place.objects.filter(kind__in=material.WASTE, balance__quantity__gt=0),
        label=_("Waste stream"),
        to_field_name="code",
    )
    reason = forms.CharField(label=_("Who took it, and where to"), max_length=200)

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        return {"place": self.cleaned_data["place"], "reason": self.cleaned_data["reason"]}


class PartsForm(LateForm):
    part = forms.ModelChoiceField(Part.objects.all(), label=_("Part"), to_field_name="code")
    pieces = forms.IntegerField(label=_("Pieces"), min_value=1, max_value=receiving.PIECES_MAX)
    cost = money(label=_("What they cost altogether"), required=False)

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        data = self.cleaned_data
        return {
            "part": data["part"],
            "pieces": data["pieces"],
            "cost_minor": data["cost"] or 0,
        }


class PartsCountForm(ActionForm):
    part = forms.ModelChoiceField(Part.objects.all(), label=_("Part"), to_field_name="code")
    counted = forms.IntegerField(
        label=_("Pieces counted"), min_value=0, max_value=receiving.PIECES_MAX
    )
    reason = forms.CharField(label=_("Why it was counted"), max_length=200)

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        return {name: data for name, data in self.cleaned_data.items() if name != "key"}


def weighed(data: dict[str, Any]) -> material.Weighing:
    """Return a weighed form's reading, still as typed."""
    return material.Weighing(scale=data["scale"], mass=data["mass"])

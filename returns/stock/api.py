"""Spare parts and material: what comes in, goes to moulding, is counted or taken away."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers

from inventory.counting import Counted
from inventory.errors import BadInput
from inventory.furniture.api.shapes import (
    Body,
    KnownCode,
    Minor,
    Pieces,
    ScaleName,
    Scanned,
    TypedMass,
    found,
)
from inventory.furniture.api.views import ActionView, Detail, Listing
from inventory.ledger.api import MovementAnswer, currency
from inventory.ledger.rules import late
from inventory.material.rules import material
from inventory.material.rules.material import Material, Weighing
from inventory.material.sums import heat
from inventory.models import Colour, Lot, Movement, Origin, Part, Place, Polymer
from inventory.parts import queries as part_stock
from inventory.parts import rules as stock
from returns.kits.rules import receiving
from returns.regrind.api.boxes import LotAnswer


class PartAnswer(serializers.Serializer[Part]):
    code = serializers.CharField()
    name = serializers.CharField()
    nominal_mass_mg = serializers.IntegerField(source="nominal_mg")
    price_minor = serializers.IntegerField()
    currency = serializers.SerializerMethodField()
    screw_size = serializers.CharField()
    length_um = serializers.IntegerField(allow_null=True)
    reorder_level = serializers.IntegerField()
    pack_size = serializers.IntegerField()
    lead_time_days = serializers.IntegerField()
    pieces_held = serializers.SerializerMethodField()
    pieces_available = serializers.SerializerMethodField(help_text="Held and not promised.")

    def get_currency(self, _part: Part) -> str:
        return currency(self.context)

    def get_pieces_held(self, part: Part) -> int:
        return part_stock.held(part)

    def get_pieces_available(self, part: Part) -> int:
        return part_stock.available(part)


class Parts(Listing):
    """List the spare parts: pieces held and available, nominal mass in mg, price in minor units."""

    scope = "read"
    serializer_class = PartAnswer
    queryset = Part.objects.all()


class OnePart(Detail):
    """Show one spare part: pieces held and available, nominal mass in mg, price in minor units.

    Answers `not-found` for another code.
    """

    scope = "read"
    answer_class = PartAnswer

    def instance(self) -> Part:
        part: Part = found(Part.objects.all(), code=self.kwargs["code"])
        return part


class LateBody(Body):
    """A fact may be told days later, with a reason."""

    happened_on = serializers.DateField(
        required=False,
        allow_null=True,
        default=None,
        help_text="The day it happened, if that was not today.",
    )
    late_reason = serializers.CharField(
        max_length=200, allow_blank=True, default="", help_text="Why it comes late."
    )


def _late(data: dict[str, Any]) -> dict[str, Any]:
    return {name: data[name] for name in ("happened_on", "late_reason")}


class ReceiptBody(LateBody):
    pieces = Pieces()
    cost_minor = Minor(default=0, help_text="What they cost together.")


class Receipts(ActionView):
    """Book parts that came from a supplier; whoever waits for a kit gets one set aside.

    `cost_minor` is what the pieces cost together, in minor units. Answers `not-found` for another
    code and `bad-input` for a number of pieces that will not do.
    """

    scope = "bench"
    body_class = ReceiptBody
    made_class = MovementAnswer

    def perform(self, data: dict[str, Any]) -> Movement:
        part = found(Part.objects.all(), code=self.kwargs["code"])
        return late.telling(receiving.receive_parts)(
            key=self.action_key, part=part, at=self.at, by=self.by, **data
        )


class CountAnswer(serializers.Serializer[Any]):
    """`movement` is null when the count agrees with the books."""

    movement = MovementAnswer(allow_null=True)


class PartCountAnswer(CountAnswer):
    """`promised_short` tells how many pieces are promised to customers and were not found."""

    promised_short = serializers.IntegerField(source="short", help_text="Pieces.")


class PartCountBody(Body):
    counted = Pieces(least=0)
    reason = serializers.CharField(max_length=200)


class PartCounts(ActionView):
    """Put a bin right after a count, in pieces. `movement` is null when the books agree.

    A count below what is promised is taken and told: `promised_short` is not 0 then.

    Answers `not-found` for another code, and `bad-input` without a reason.
    """

    scope = "bench"
    body_class = PartCountBody
    made_class = PartCountAnswer

    def perform(self, data: dict[str, Any]) -> Counted:
        part = found(Part.objects.all(), code=self.kwargs["code"])
        return stock.count(key=self.action_key, part=part, at=self.at, actor=self.by, **data)


class MaterialBody(LateBody):
    polymer = KnownCode(Polymer.objects.all)
    colour = KnownCode(Colour.objects.all)
    heat_passes = serializers.IntegerField(
        min_value=0, max_value=heat.PASSES_MAX, help_text="Trips through the melt so far."
    )
    note = serializers.CharField(max_length=120, allow_blank=True, default="")
    cost_minor = Minor(default=0)
    scale = ScaleName()
    mass = TypedMass()


class FeedstockBody(MaterialBody):
    origin = serializers.ChoiceField(choices=sorted(origin.value for origin in material.BOUGHT))
    into = serializers.ChoiceField(
        choices=["box", "lot"], help_text="box: still to be ground; lot: fit for moulding."
    )


class FeedstockAnswer(serializers.Serializer[Any]):
    """A lot for what is fit for moulding, a movement for what went into a box."""

    lot = LotAnswer(allow_null=True)
    movement = MovementAnswer(allow_null=True)


class Feedstock(ActionView):
    """Book bought-in material into a regrind box, or as a flake lot that is fit for moulding.

    The mass is text in grams or kilograms as the scale shows it, the cost is in minor units.
    Answers `bad-input` naming the field.
    """

    scope = "bench"
    body_class = FeedstockBody
    made_class = FeedstockAnswer

    def perform(self, data: dict[str, Any]) -> dict[str, Any]:
        facts = _facts(self, data, data["origin"])
        if data["into"] == "lot":
            return {"lot": late.telling(material.receive_as_lot)(**facts), "movement": None}
        return {"lot": None, "movement": late.telling(material.receive_to_box)(**facts)}


class Scrap(ActionView):
    """Book sprues, short shots and rejects of our own moulding into their box.

    The mass is text in grams or kilograms as the scale shows it, the cost is in minor units.
    Answers `bad-input` naming the field.
    """

    scope = "bench"
    body_class = MaterialBody
    made_class = MovementAnswer

    def perform(self, data: dict[str, Any]) -> Movement:
        return late.telling(material.return_scrap)(**_facts(self, data, Origin.IN_PROCESS))


def _facts(view: ActionView, data: dict[str, Any], origin: str) -> dict[str, Any]:
    what = Material(
        polymer=data["polymer"],
        colour=data["colour"],
        origin=origin,
        heat=heat.of_passes(data["heat_passes"]),
        note=data["note"],
        cost_minor=data["cost_minor"],
    )
    weighing = Weighing(scale=data["scale"], mass=data["mass"])
    return {
        "key": view.action_key,
        "material": what,
        "weighing": weighing,
        "at": view.at,
        "by": view.by,
        **_late(data),
    }


class IssuedLotBody(Body):
    lot = KnownCode(Lot.objects.all)
    mass = TypedMass()


class IssueBody(Body):
    batch_code = serializers.CharField(max_length=material.BATCH_CODE_LENGTH_MAX)
    scale = ScaleName()
    lots = serializers.ListSerializer[Any](child=IssuedLotBody(), min_length=1, max_length=50)
    scanned = serializers.ListField(
        child=Scanned(), max_length=50, help_text="The label of each of these lots."
    )


class Issues(ActionView):
    """Issue flake to moulding, for one production batch.

    Each lot's mass is text in grams or kilograms as the scale shows it. Answers `bad-input` for a
    lot named twice or a mass that cannot be read, and `not-enough` when a lot holds less.
    """

    scope = "bench"
    body_class = IssueBody
    made_class = MovementAnswer

    def perform(self, data: dict[str, Any]) -> Movement:
        lots = {one["lot"]: one["mass"] for one in data["lots"]}
        # The dictionary would silently keep the last of two masses.
        if len(lots) < len(data["lots"]):
            raise BadInput(_("A lot is named twice. Weigh it once."), field="lots")
        return material.issue(
            key=self.action_key,
            lots=lots,
            scanned=data["scanned"],
            batch_code=data["batch_code"],
            scale=data["scale"],
            at=self.at,
            by=self.by,
        )


class MassCountBody(Body):
    scale = ScaleName()
    mass = TypedMass(help_text="As the scale shows it; 0 says that the place is empty.")
    reason = serializers.CharField(max_length=200)


class MassCounts(ActionView):
    """Put a box, a lot or the salvage bin right after weighing what is there.

    The mass is text in grams or kilograms; 0 says that the place is empty. `movement` is null when
    the books agree. Answers `bad-input` without a reason or for a place that is not counted.
    """

    scope = "bench"
    body_class = MassCountBody
    made_class = CountAnswer

    def perform(self, data: dict[str, Any]) -> Counted:
        return material.count(
            key=self.action_key,
            place=found(Place.objects.select_related("lot"), code=self.kwargs["code"]),
            weighing=Weighing(scale=data["scale"], mass=data["mass"]),
            reason=data["reason"],
            at=self.at,
            by=self.by,
        )


class DisposalBody(LateBody):
    reason = serializers.CharField(max_length=200, help_text="By whom or where to.")


class Disposals(ActionView):
    """Book that a waste stream is taken away, whole.

    Answers `bad-input` without a reason, or for a place that is empty or holds no waste.
    """

    scope = "bench"
    body_class = DisposalBody
    made_class = MovementAnswer

    def perform(self, data: dict[str, Any]) -> Movement:
        place = found(Place.objects.select_related("lot"), code=self.kwargs["code"])
        dispose = late.telling(material.dispose)
        return dispose(key=self.action_key, place=place, at=self.at, by=self.by, **data)

"""Used goods: weighed in, taken apart, boxed; what was kept goes on. No answer names a giver."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inventory.errors import NotFound
from inventory.furniture.api import filters
from inventory.furniture.api.shapes import (
    Body,
    KnownCode,
    Minor,
    Moment,
    ScaleName,
    TypedMass,
    found,
)
from inventory.furniture.api.views import ActionView, Detail, Listing
from inventory.goods import queries
from inventory.goods import rules as loads
from inventory.ledger.api import currency
from inventory.material.rules.material import Weighing
from inventory.material.sums import heat
from inventory.models import (
    Colour,
    GiverClass,
    Load,
    LoadEntry,
    Place,
    Polymer,
    Stream,
    Way,
    Went,
)
from returns.goods import rules


class LoadFilter(filters.FilterSet):
    state = filters.ChoiceFilter(choices=Load.State.choices)
    kind = filters.CharFilter(max_length=20)
    giver_class = filters.ChoiceFilter(choices=GiverClass.choices)


class EntryAnswer(serializers.Serializer[LoadEntry]):
    """An entry that stands; `id` names it where something kept is passed on."""

    id = serializers.IntegerField(source="pk")
    act = serializers.CharField()
    stream = serializers.CharField()
    went = serializers.CharField()
    note = serializers.CharField()
    mass_mg = serializers.IntegerField(source="posting.quantity")
    place = serializers.CharField(source="posting.target.code")
    movement = serializers.IntegerField(source="posting.movement.number")


class LoadAnswer(serializers.Serializer[Load]):
    """A load of goods; masses in mg. `entries` add up: what came in is boxed, out, lost or left."""

    code = serializers.CharField()
    kind = serializers.CharField()
    giver_class = serializers.CharField()
    way = serializers.CharField()
    cost_minor = serializers.IntegerField()
    currency = serializers.SerializerMethodField()
    state = serializers.CharField()
    received_at = Moment()
    finished_at = Moment(allow_null=True)
    gross_mg = serializers.SerializerMethodField()
    left_mg = serializers.SerializerMethodField()
    entries = serializers.SerializerMethodField()

    def __init__(self, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        self.known: dict[int, queries.Standing] = {}

    def _standing(self, load: Load) -> queries.Standing:
        if load.pk not in self.known:
            # Asked once for a whole page: load by load it would be a question for each.
            page = getattr(self.parent, "instance", None) or [load]
            self.known |= {one.load.pk: one for one in queries.listed(page)}
        return self.known[load.pk]

    def get_currency(self, _load: Load) -> str:
        return currency(self.context)

    def get_gross_mg(self, load: Load) -> int:
        return self._standing(load).gross_mg

    def get_left_mg(self, load: Load) -> int:
        return self._standing(load).left_mg

    def get_entries(self, load: Load) -> list[dict[str, Any]]:
        return [dict(EntryAnswer(entry).data) for entry in self._standing(load).entries]


class TakeInBody(Body):
    """Who gave it is personal data: it is kept apart, and no answer shows it."""

    kind = serializers.CharField(max_length=20, help_text="A code of the owner's list.")
    giver_class = serializers.ChoiceField(choices=GiverClass.choices)
    way = serializers.ChoiceField(choices=Way.choices)
    cost_minor = Minor(default=0, help_text="Only for what was sold to us.")
    scale = ScaleName()
    mass = TypedMass()
    name = serializers.CharField(max_length=rules.NAME_LENGTH_MAX, allow_blank=True, default="")
    contact = serializers.CharField(
        max_length=rules.CONTACT_LENGTH_MAX, allow_blank=True, default=""
    )


class Loads(ActionView, Listing):
    """GET lists the loads of used goods, newest first; POST weighs one in, as it came.

    Masses are text in grams or kilograms. POST answers `bad-input` for an unknown kind, class or
    way, and for a price of what was not sold.
    """

    scope = "bench"
    read_scope = "read"
    serializer_class = LoadAnswer
    filterset_class = LoadFilter
    queryset = Load.objects.all()
    body_class = TakeInBody
    made_class = LoadAnswer

    def perform(self, data: dict[str, Any]) -> Load:
        named = {name: data[name] for name in ("kind", "giver_class", "way", "cost_minor")}
        return rules.take_in(
            key=self.action_key,
            goods=loads.Goods(**named),
            weighing=_weighing(data),
            who=rules.Who(name=data["name"], contact=data["contact"]),
            at=self.at,
            by=self.by,
        )


class OneLoad(Detail):
    """Show a load with every entry that stands. Answers `not-found` for another code."""

    scope = "read"
    answer_class = LoadAnswer

    def instance(self) -> Load:
        load: Load = found(Load.objects.all(), code=self.kwargs["code"])
        return load


class LoadAction(ActionView):
    """An action on one load."""

    scope = "bench"
    made_class = LoadAnswer

    def load(self) -> Load:
        load: Load = found(Load.objects.all(), code=self.kwargs["code"])
        return load


class StreamBody(Body):
    stream = serializers.ChoiceField(choices=Stream.choices)
    went = serializers.ChoiceField(choices=Went.choices)
    note = serializers.CharField(
        max_length=loads.NOTE_LENGTH_MAX,
        allow_blank=True,
        default="",
        help_text="To whom it goes, or which polymer; needed unless it is waste.",
    )
    scale = ScaleName()
    mass = TypedMass()

    @staticmethod
    def out(data: dict[str, Any]) -> loads.TakenOut:
        """Return the stream as the rules take it."""
        return loads.TakenOut(stream=data["stream"], went=data["went"], note=data["note"])


class Streams(LoadAction):
    """Weigh one stream out of a load that is being sorted, and say where it went.

    Answers `bad-input` for more than is left, and `stale-state` when the load is sorted.
    """

    body_class = StreamBody

    def perform(self, data: dict[str, Any]) -> Load:
        return loads.take_out(
            key=self.action_key,
            load=self.load(),
            out=StreamBody.out(data),
            weighing=_weighing(data),
            at=self.at,
            by=self.by,
        )


class NetBody(Body):
    polymer = KnownCode(Polymer.objects.all)
    colour = KnownCode(Colour.objects.all)
    mass = TypedMass()


class FinishBody(Body):
    scale = ScaleName()
    nets = serializers.ListSerializer[Any](child=NetBody(), max_length=loads.NETS_MAX)
    heat_passes = serializers.IntegerField(
        min_value=0, max_value=heat.PASSES_MAX, default=1, help_text="Of what is boxed."
    )
    explanation = serializers.CharField(
        max_length=loads.REASON_LENGTH_MAX,
        allow_blank=True,
        default="",
        help_text="Needed when more comes out than went in.",
    )


class LoadEndings(LoadAction):
    """Box what is washed and dry; what is left over was washed and dried off.

    Answers `bad-input` for a class named twice, or for more than went in without an explanation,
    and `stale-state` when the load is sorted already.
    """

    body_class = FinishBody

    def perform(self, data: dict[str, Any]) -> Load:
        out = loads.Sorted(
            scale=data["scale"],
            nets=[loads.Net(**net) for net in data["nets"]],
            passes=data["heat_passes"],
            explanation=data["explanation"],
        )
        return loads.finish(key=self.action_key, load=self.load(), out=out, at=self.at, by=self.by)


class PickingBody(StreamBody):
    place = KnownCode(Place.objects.all, help_text="The box or the lot that it lies in.")


class Pickings(LoadAction):
    """Take out of a box or a lot what turned out to be another polymer, and lay it to its load.

    Answers `bad-input` for a place that the load never reached or more than it put there, and
    `not-enough` when so much is not there any more.
    """

    body_class = PickingBody

    def perform(self, data: dict[str, Any]) -> Load:
        return loads.pick_out(
            key=self.action_key,
            load=self.load(),
            place=data["place"],
            out=StreamBody.out(data),
            weighing=_weighing(data),
            at=self.at,
            by=self.by,
        )


class PassingBody(Body):
    entry = serializers.IntegerField(min_value=1, help_text="`id` of the entry that kept it.")
    went = serializers.ChoiceField(choices=Went.choices, help_text="Anything but kept.")
    note = serializers.CharField(max_length=loads.NOTE_LENGTH_MAX, allow_blank=True, default="")


class Passings(LoadAction):
    """Say that a stream that was kept has left, whole: sold, given on or wasted.

    Answers `not-found` for an entry that is not of this load, `stale-state` when it left before.
    """

    body_class = PassingBody

    def perform(self, data: dict[str, Any]) -> Load:
        load = self.load()
        entry = load.entries.filter(pk=data["entry"]).select_related("posting").first()
        if entry is None:
            raise NotFound()
        return loads.pass_on(
            key=self.action_key,
            load=load,
            entry=entry,
            went=data["went"],
            note=data["note"],
            at=self.at,
            by=self.by,
        )


class UndoBody(Body):
    movement = serializers.IntegerField(min_value=1, help_text="The load's newest one.")
    reason = serializers.CharField(max_length=loads.REASON_LENGTH_MAX)


class LoadReversals(LoadAction):
    """Take back a load's newest movement; the first of all takes back the load.

    Answers `bad-input` without a reason, `stale-state` when another movement is the newest by now,
    and `conflict` when its box has been ground since.
    """

    body_class = UndoBody

    def perform(self, data: dict[str, Any]) -> Load:
        return loads.undo(
            key=self.action_key,
            load=self.load(),
            number=data["movement"],
            reason=data["reason"],
            at=self.at,
            by=self.by,
        )


class LoadShareAnswer(serializers.Serializer[Any]):
    """A share of the gross mass, 0 to 1; the next load's are null under three loads."""

    mean = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    next_low = serializers.FloatField(allow_null=True)
    next_high = serializers.FloatField(allow_null=True)
    loads = serializers.IntegerField()


class GoodsYieldAnswer(serializers.Serializer[Any]):
    kind = serializers.CharField()
    name = serializers.CharField()
    gross_mg = serializers.IntegerField()
    boxed = LoadShareAnswer()
    taken_out = LoadShareAnswer()
    lost = LoadShareAnswer()


class GoodsYieldsAnswer(serializers.Serializer[Any]):
    kinds = GoodsYieldAnswer(many=True)


class GoodsYields(Detail):
    """Show by kind of goods what share was boxed, taken out and washed off, with its range."""

    scope = "read"
    answer_class = GoodsYieldsAnswer

    def instance(self) -> dict[str, Any]:
        return {"kinds": queries.yields()}


def _weighing(data: dict[str, Any]) -> Weighing:
    return Weighing(scale=data["scale"], mass=data["mass"])

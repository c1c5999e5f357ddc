"""Forms of goods: a load weighed in, a stream taken out, the net boxed, evidence kept."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _

from inventory.furniture.pages.forms import ActionForm, MassField, ScaleField, WeighedForm
from inventory.furniture.wording import mass as written
from inventory.goods import queries
from inventory.goods import rules as loads
from inventory.ledger.queries import naming
from inventory.material.rules.grinding import is_nothing
from inventory.material.rules.material import Weighing
from inventory.material.sums import heat
from inventory.models import (
    Colour,
    GiverClass,
    GoodsKind,
    Load,
    LoadEntry,
    Place,
    Polymer,
    Stream,
    Way,
    Went,
)
from returns.goods import rules
from returns.models import Evidence
from returns.setup.pages.fields import money


class ReceiveForm(WeighedForm):
    """A load as it comes in at the door."""

    field_order = ["kind", "scale", "mass", "way", "cost", "giver_class", "name", "contact"]
    kind = forms.ChoiceField(label=_("Kind of goods"))
    way = forms.ChoiceField(label=_("How it came"), choices=Way.choices)
    cost = money(label=_("What was paid for it"), required=False)
    giver_class = forms.ChoiceField(
        label=_("From"), choices=GiverClass.choices, initial=GiverClass.UNNAMED
    )
    name = forms.CharField(
        label=_("Name of the giver"),
        required=False,
        max_length=rules.NAME_LENGTH_MAX,
        help_text=_("Only if they want to be named. The report never tells it."),
    )
    contact = forms.CharField(
        label=_("How to reach them"), required=False, max_length=rules.CONTACT_LENGTH_MAX
    )

    def __init__(self, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        self.fields["kind"].choices = list(GoodsKind.offered().items())  # type: ignore[attr-defined]
        self.fields["mass"].label = _t("Gross mass, as it came")

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        data = self.cleaned_data
        goods = loads.Goods(
            kind=data["kind"],
            giver_class=data["giver_class"],
            way=data["way"],
            cost_minor=data["cost"] or 0,
        )
        who = rules.Who(name=data["name"], contact=data["contact"])
        return {"goods": goods, "weighing": weighed(data), "who": who}


class LoadForm(ActionForm):
    """A form about one load, which it is made for."""

    def __init__(self, load: Load, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        self.load = load


class StreamForm(LoadForm):
    """One stream on the scale."""

    field_order = ["stream", "scale", "mass", "went", "note"]
    stream = forms.ChoiceField(label=_("What was taken out"), choices=Stream.choices)
    scale = ScaleField()
    mass = MassField(label=_("Its mass"))
    went = forms.ChoiceField(
        label=_("Where it goes"), choices=Went.choices, initial=Went.WASTE, widget=forms.RadioSelect
    )
    note = forms.CharField(
        label=_("To whom, or which polymer"),
        required=False,
        max_length=loads.NOTE_LENGTH_MAX,
        help_text=_("Needed unless it goes to waste. Name no private person."),
    )

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        data = self.cleaned_data
        out = loads.TakenOut(stream=data["stream"], went=data["went"], note=data["note"])
        return {"out": out, "weighing": weighed(data)}


class PickOutForm(StreamForm):
    """A wrong polymer in a box or lot."""

    field_order = ["place", "stream", "scale", "mass", "went", "note"]
    place = forms.ChoiceField(label=_("Where it was found"))

    def __init__(self, load: Load, *args: Any, **facts: Any) -> None:
        super().__init__(load, *args, **facts)
        self.places = {one.code: one for one in reached(load)}
        choices = [(code, naming.words(place)) for code, place in self.places.items()]
        self.fields["place"].choices = choices  # type: ignore[attr-defined]

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        return super().facts() | {"place": self.places[self.cleaned_data["place"]]}


class FinishForm(LoadForm):
    """What is washed and dry, box by box; a line without a mass says nothing."""

    scale = ScaleField()
    passes = forms.IntegerField(
        label=_("Heat passes so far"),
        min_value=0,
        max_value=heat.PASSES_MAX,
        initial=1,
        help_text=_("How often it has been moulded. Pots that were in use: 1."),
    )
    explanation = forms.CharField(
        label=_("Why more came out than went in"),
        required=False,
        max_length=loads.REASON_LENGTH_MAX,
        help_text=_("Only if it did. Wet goods weigh more: let them dry."),
    )

    def __init__(self, load: Load, *args: Any, **facts: Any) -> None:
        super().__init__(load, *args, **facts)
        polymers = Polymer.objects.all()
        colours = Colour.objects.filter(kind=Colour.Kind.BASE)
        for line in range(1, loads.NETS_MAX + 1):
            self.fields[f"polymer_{line}"] = forms.ModelChoiceField(
                polymers, label=_t("Polymer"), required=False
            )
            self.fields[f"colour_{line}"] = forms.ModelChoiceField(
                colours, label=_t("Colour"), required=False
            )
            self.fields[f"mass_{line}"] = MassField(
                label=_t("Net mass, washed and dry"), required=False
            )

    @property
    def lines(self) -> list[tuple[int, list[forms.BoundField]]]:
        """The fields of each box."""
        names = ("polymer", "colour", "mass")
        return [
            (line, [self[f"{name}_{line}"] for name in names])
            for line in range(1, loads.NETS_MAX + 1)
        ]

    @property
    def is_more(self) -> bool:
        """Whether something was typed, or is wrong, beyond the first box."""
        names = [one.name for line, fields in self.lines if line > 1 for one in fields]
        return any(self[name].value() or self[name].errors for name in names)

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        for line in range(1, loads.NETS_MAX + 1):
            if is_nothing(data.get(f"mass_{line}", "")):
                continue
            for name in ("polymer", "colour"):
                if data.get(f"{name}_{line}") is None:
                    self.add_error(f"{name}_{line}", _t("Say which box this mass goes into."))
        return data

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        data = self.cleaned_data
        # A line without a mass is left out here, so that its place is in the field's name no more;
        # masses are typed from the first line on.
        nets = [
            loads.Net(
                polymer=data[f"polymer_{line}"],
                colour=data[f"colour_{line}"],
                mass=data[f"mass_{line}"],
            )
            for line in range(1, loads.NETS_MAX + 1)
            if not is_nothing(data[f"mass_{line}"])
        ]
        out = loads.Sorted(
            scale=data["scale"],
            nets=nets,
            passes=data["passes"],
            explanation=data["explanation"],
        )
        return {"out": out}


class PassOnForm(LoadForm):
    """A stream that was kept and now leaves."""

    entry = forms.ChoiceField(label=_("What leaves"))
    went = forms.ChoiceField(
        label=_("Where it goes"),
        choices=[choice for choice in Went.choices if choice[0] != Went.KEPT],
        widget=forms.RadioSelect,
    )
    note = forms.CharField(label=_("To whom"), required=False, max_length=loads.NOTE_LENGTH_MAX)

    def __init__(self, load: Load, *args: Any, **facts: Any) -> None:
        super().__init__(load, *args, **facts)
        self.kept = {str(entry.pk): entry for entry in queries.standing(load).kept}
        choices = [(pk, kept_words(entry)) for pk, entry in self.kept.items()]
        self.fields["entry"].choices = choices  # type: ignore[attr-defined]

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        data = self.cleaned_data
        return {"entry": self.kept[data["entry"]], "went": data["went"], "note": data["note"]}


class UndoForm(LoadForm):
    number = forms.IntegerField(widget=forms.HiddenInput, min_value=1)
    reason = forms.CharField(label=_("Why it is taken back"), max_length=loads.REASON_LENGTH_MAX)

    def __init__(self, load: Load, *args: Any, **facts: Any) -> None:
        super().__init__(load, *args, **facts)
        self.initial["number"] = queries.standing(load).last_movement

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        return {"number": self.cleaned_data["number"], "reason": self.cleaned_data["reason"]}


class EvidenceForm(LoadForm):
    kind = forms.ChoiceField(label=_("What it is"), choices=Evidence.Kind.choices)
    picture = forms.FileField(
        label=_("Picture or PDF"),
        help_text=_("JPEG, PNG, WebP, HEIC or PDF. Its text is not read."),
        widget=forms.FileInput(attrs={"accept": "image/*,application/pdf"}),
    )
    note = forms.CharField(
        label=_("What it shows"), required=False, max_length=rules.CONTACT_LENGTH_MAX
    )


class ForgetForm(LoadForm):
    """Only its key."""

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        return {}


def reached(load: Load) -> Iterable[Place]:
    """Return the boxes and lots that may hold material of a load."""
    return queries.places_of(queries.standing(load))


def kept_words(entry: LoadEntry) -> str:
    """Return a kept stream in words: what it is, for whom, and its mass."""
    facts = {
        "stream": entry.get_stream_display(),
        "note": entry.note,
        "mass": written(entry.posting.quantity),
    }
    return _t("%(stream)s, %(note)s: %(mass)s") % facts


def weighed(data: dict[str, Any]) -> Weighing:
    """Return a form's reading, still as typed."""
    return Weighing(scale=data["scale"], mass=data["mass"])

"""The set-up's forms: one action each. `facts()` are the arguments of the form's rule."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Final

from django import forms
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _

from inventory.furniture.pages.forms import ActionForm
from inventory.masters import queries as workshop_queries
from inventory.masters import rules as masters
from inventory.masters.sums import LOGO_BYTES_MAX
from inventory.models import Colour, Part, Polymer, Side, Workshop
from inventory.models.weighing import ScaleClass
from returns.bench.pages import labels
from returns.catalogue.rules import model_setup
from returns.catalogue.rules.starting_remedies import Starting
from returns.mending import sums as threads
from returns.models import Colourway, FrameModel
from returns.models.catalogue import ComponentKind, RimShape
from returns.models.remedies import DefectKey
from returns.models.terms import PaidBy
from returns.moulding.rules import Earlier
from returns.setup.pages.fields import MassField, millimetres, money, percent

_LABEL_MM_MAX = labels.SHEET_MM[0] - 2 * labels.SHEET_MARGIN_MM
_NUMERIC = {"inputmode": "numeric"}
SHARES_MIN: Final = 2
SHARES_ASKED: Final = 5


def whole(label: Any, least: int, most: int, **facts: Any) -> forms.IntegerField:
    """Make a field for a whole number with its bounds."""
    return forms.IntegerField(label=label, min_value=least, max_value=most, **facts)


class StepForm(ActionForm):
    """A form whose fields are the row's own; the rule takes them as `facts`."""

    def facts(self) -> dict[str, Any]:
        return {"facts": {k: v for k, v in self.cleaned_data.items() if k != "key"}}


class WorkshopForm(StepForm):
    name = forms.CharField(label=_("Name of the workshop"), max_length=80)
    address = forms.CharField(
        label=_("Postal address"),
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("Without the name. It is printed on the slip that customers put on a parcel."),
    )
    country = forms.CharField(
        label=_("Country code"),
        max_length=2,
        help_text=_("Two capital letters (ISO 3166-1), such as DE."),
    )
    email = forms.EmailField(
        label=_("Email for customers"), help_text=_("Answers to letters come here.")
    )
    currency = forms.CharField(
        label=_("Currency"),
        max_length=3,
        help_text=_("Three capital letters (ISO 4217), such as EUR; one with hundredths."),
    )
    labour_minor_per_hour = money(
        label=_("An hour of work costs"), help_text=_("Wages and what comes on top.")
    )
    postage_in_minor = money(label=_("Postage of a frame to you"))
    postage_out_minor = money(label=_("Postage of a frame to the customer"))
    promise_days = whole(_("Promised: a frame is back or settled within, days"), 1, 365)
    kit_promise_days = whole(_("Promised: spare screws are posted within, days"), 1, 90)
    retention_days = whole(
        _("Names and addresses are erased after, days"),
        30,
        3650,
        help_text=_("Counted from the end of a story. Local law decides how long you may or must."),
    )
    label_width_mm = whole(
        _("Label width, mm"),
        labels.LABEL_MM_MIN,
        _LABEL_MM_MAX,
        required=False,
        help_text=_(
            "As printed on the box of your labels. Leave width and height empty when you have no "
            "label printer: labels then come on A4 sheets, to be cut out."
        ),
    )
    label_height_mm = whole(
        _("Label height, mm"), labels.LABEL_MM_MIN, _LABEL_MM_MAX, required=False
    )

    def __init__(self, *args: Any, **facts: Any) -> None:
        """Ask for what nobody has entered yet, instead of taking the default for an answer."""
        super().__init__(*args, **facts)
        untouched = Workshop()
        for name in ("name", "email"):
            if self.initial.get(name) == getattr(untouched, name):
                del self.initial[name]


class ScaleForm(StepForm):
    name = forms.CharField(
        label=_("Name"), max_length=60, help_text=_("As you call it, such as “Fine scale”.")
    )
    accuracy = forms.ChoiceField(
        label=_("Accuracy class"),
        choices=ScaleClass.choices,
        initial=ScaleClass.HIGH,
        help_text=_("The Roman number in an oval on the plate (OIML R 76)."),
    )
    division_mg = MassField(
        label=_("Scale division d"), help_text=_("The smallest step it shows, such as 0.01 g.")
    )
    verification_mg = MassField(
        label=_("Verification interval e"), help_text=_("On the plate. The same as d, or larger.")
    )
    capacity_mg = MassField(label=_("Max"), help_text=_("Such as 600 g."))
    minimum_mg = MassField(
        label=_("Min"), help_text=_("Below it a reading is marked as not to be trusted.")
    )
    check_due = forms.DateField(
        label=_("Next check due"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        help_text=_("A reading after this day is marked. How often to check, local rules say."),
    )
    calibration_u_ug = whole(
        _("Standard uncertainty from the last calibration, µg"),
        1,
        1_000_000_000,
        required=False,
        help_text=_("From the certificate, if you have one. Without it the class's limits count."),
    )


class PolymerForm(StepForm):
    code = forms.CharField(label=_("Code"), max_length=12, help_text=_("ISO 1043-1, such as PP."))
    name = forms.CharField(label=_("Name"), max_length=60)


class ColourForm(StepForm):
    name = forms.CharField(label=_("Name in words"), max_length=40)
    swatch = forms.CharField(
        label=_("Roughly this colour"),
        initial="#777777",
        max_length=7,
        widget=forms.TextInput(attrs={"type": "color"}),
    )
    code = forms.SlugField(
        label=_("Code"),
        required=False,
        max_length=20,
        help_text=_("Goes on boxes and lots. Left empty, it is made from the name."),
    )
    kind = forms.ChoiceField(
        label=_("What it is"),
        required=False,
        choices=[
            ("", _("a colour that you mould")),
            (Colour.Kind.PURGE, _("what colour changes at the press leave behind, all together")),
        ],
    )

    def facts(self) -> dict[str, Any]:
        # Left out for a base colour, which is told as it always was.
        return {"facts": {k: v for k, v in super().facts()["facts"].items() if v or k != "kind"}}


class RecipeForm(ActionForm):
    """Up to five colours with their shares; lines without a share are left out."""

    is_marbled = forms.ChoiceField(
        label=_("How it looks"),
        choices=[
            ("yes", _("marbled: the colours stay visible side by side")),
            ("no", _("even: the colours mix into one")),
        ],
        widget=forms.RadioSelect,
    )
    tolerance = percent(
        label=_("A share may miss the recipe by, % of the whole"),
        initial=20_000,
        min_value=Decimal("0.1"),
        max_value=100,
        help_text=_("Beyond it the press asks why. Your judgement."),
    )

    def __init__(self, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        for at in range(1, SHARES_ASKED + 1):
            self.fields[f"colour_{at}"] = forms.ModelChoiceField(
                Colour.objects.all(),
                label=_t("Colour %(number)s") % {"number": at},
                required=at <= SHARES_MIN,
                empty_label=_("none") if at > SHARES_MIN else _("choose"),
            )
            self.fields[f"share_{at}"] = percent(
                label=_t("Share of colour %(number)s, %%") % {"number": at},
                required=at <= SHARES_MIN,
                max_value=100,
            )

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        for at in range(1, SHARES_ASKED + 1):
            colour, share = data.get(f"colour_{at}"), data.get(f"share_{at}")
            if colour and not share and f"share_{at}" not in self.errors:
                self.add_error(f"share_{at}", _t("Enter the share of this colour."))
            if share and not colour and f"colour_{at}" not in self.errors:
                self.add_error(f"colour_{at}", _t("Choose the colour of this share."))
        return data

    def recipe(self) -> dict[str, Any]:
        """Return the recipe as the rules take it."""
        data = self.cleaned_data
        shares = ((data[f"colour_{at}"], data[f"share_{at}"]) for at in range(1, SHARES_ASKED + 1))
        return {
            "shares": tuple((colour, ppm) for colour, ppm in shares if colour and ppm),
            "tolerance_ppm": data["tolerance"],
            "is_marbled": data["is_marbled"] == "yes",
        }


class BlendForm(RecipeForm):
    """A blend with its first recipe."""

    name = forms.CharField(label=_("Name in words"), max_length=40)
    code = forms.SlugField(
        label=_("Code"),
        required=False,
        max_length=20,
        help_text=_("Goes on boxes and lots. Left empty, it is made from the name."),
    )

    field_order = ("name", "code")

    def facts(self) -> dict[str, Any]:
        data = self.cleaned_data
        return {"data": masters.NewBlend(name=data["name"], code=data["code"], **self.recipe())}


class ChangedRecipeForm(RecipeForm):
    """Another recipe of a blend; `version` is the one that the page showed."""

    version = forms.IntegerField(widget=forms.HiddenInput)

    def facts(self) -> dict[str, Any]:
        recipe = masters.NewRecipe(**self.recipe())
        return {"version": self.cleaned_data["version"], "data": recipe}


class MixingForm(ActionForm):
    """One box colour and what else it takes."""

    into = forms.ModelChoiceField(
        Colour.objects.exclude(kind=Colour.Kind.BLEND),
        label=_("The box of"),
        help_text=_("The box of a blend takes that blend only, so blends are not listed."),
    )
    of = forms.ModelMultipleChoiceField(
        Colour.objects.all(),
        label=_("also takes"),
        required=False,
        to_field_name="code",
        widget=forms.CheckboxSelectMultiple,
        help_text=_(
            "Dark takes more than light. What you tick replaces what stood there for this box; "
            "tick nothing to let it take its own colour only."
        ),
    )

    def facts(self) -> dict[str, Any]:
        return {"into": self.cleaned_data["into"], "of": tuple(self.cleaned_data["of"])}


class ColourwayForm(ActionForm):
    """A look of a model whose arms or parts differ from the rest."""

    model = forms.ModelChoiceField(FrameModel.objects.all(), label=_("Model"))
    polymer = forms.ModelChoiceField(Polymer.objects.all(), label=_("Polymer"), empty_label=None)
    colour = forms.ModelChoiceField(Colour.objects.all(), label=_("Colour or blend of the front"))
    name = forms.CharField(
        label=_("Name of this look"),
        required=False,
        max_length=60,
        help_text=_("Customers read it, such as “Tideline, moss arms”."),
    )
    arms = forms.ModelChoiceField(
        Colour.objects.all(),
        label=_("Colour or blend of the arms"),
        required=False,
        empty_label=_("as the front"),
    )
    arms_polymer = forms.ModelChoiceField(
        Polymer.objects.all(),
        label=_("Polymer of the arms"),
        required=False,
        empty_label=_("as the front"),
    )
    arm_left = forms.ModelChoiceField(
        Part.objects.all(),
        label=_("Spare left arm"),
        required=False,
        empty_label=_("as in the bill"),
    )
    arm_right = forms.ModelChoiceField(
        Part.objects.all(),
        label=_("Spare right arm"),
        required=False,
        empty_label=_("as in the bill"),
    )
    lens_tint = forms.CharField(
        label=_("Tint of the lenses"),
        required=False,
        max_length=40,
        help_text=_("As on their bag, such as “clear” or “brown, category 2”."),
    )
    lens_part = forms.ModelChoiceField(
        Part.objects.all(),
        label=_("Spare lens"),
        required=False,
        empty_label=_("as in the bill"),
        help_text=_("Good lenses are bought: with a spare part of theirs they can be kept."),
    )

    def facts(self) -> dict[str, Any]:
        data = self.cleaned_data
        arms = data["arms"] or (data["colour"] if data["arms_polymer"] else None)
        polymer = (data["arms_polymer"] or data["polymer"]) if arms else None
        if (polymer, arms) == (data["polymer"], data["colour"]):
            polymer = arms = None
        differing = [
            model_setup.Differing(f"arm_{side}", polymer, arms, data[f"arm_{side}"])
            for side in ("left", "right")
            if arms or data[f"arm_{side}"]
        ]
        if data["lens_part"]:
            differing += [
                model_setup.Differing(f"lens_{side}", part=data["lens_part"])
                for side in ("left", "right")
            ]
        way = model_setup.NewColourway(
            model=data["model"],
            polymer=data["polymer"],
            colour=data["colour"],
            differing=tuple(differing),
            name=data["name"].strip(),
            lens_tint=data["lens_tint"].strip(),
        )
        return {"data": way}


class PartForm(StepForm):
    name = forms.CharField(
        label=_("Name"), max_length=80, help_text=_("Such as “Hinge screw M1.4 × 4”.")
    )
    code = forms.SlugField(
        label=_("Code"),
        required=False,
        max_length=40,
        help_text=_("Goes on the bin. Left empty, it is made from the name."),
    )
    nominal_mg = MassField(
        label=_("Mass of one"), help_text=_("Weigh twenty and divide, such as 0.105 g.")
    )
    price_minor = money(label=_("Price of one"))
    screw_size = forms.ChoiceField(
        label=_("Thread"), required=False, help_text=_("For screws only (ISO 11381).")
    )
    length_um = millimetres(label=_("Length under the head, mm"), required=False)
    pack_size = whole(_("Pieces in a pack"), 1, 100_000, initial=50)
    reorder_level = whole(_("Order again at, pieces"), 0, 100_000, initial=20)
    lead_time_days = whole(_("Days from order to delivery"), 0, 365, initial=14)
    colour = forms.ModelChoiceField(
        Colour.objects.all(),
        label=_("Only in this colour"),
        required=False,
        empty_label=_("fits all colours"),
        help_text=_("For arms and fronts that differ by it. A screw fits all."),
    )
    polymer = forms.ModelChoiceField(
        Polymer.objects.all(),
        label=_("Of this polymer"),
        required=False,
        empty_label=_("fits all polymers"),
    )
    side = forms.ChoiceField(
        label=_("Only for this side"),
        required=False,
        choices=[("", _("fits both sides")), *Side.choices],
    )
    tint = forms.CharField(label=_("Tint, for a lens"), required=False, max_length=40)

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        known = list(Polymer.objects.all()[:2])
        # A workshop with one polymer need not name it.
        if data.get("colour") and not data.get("polymer") and len(known) == 1:
            data["polymer"] = known[0]
        return data

    def facts(self) -> dict[str, Any]:
        # Left out where they say nothing: a part that fits all is told as it always was.
        narrow = ("colour", "polymer", "side", "tint")
        typed = super().facts()["facts"]
        return {"facts": {k: v for k, v in typed.items() if v or k not in narrow}}

    def __init__(self, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        # Of "M1.4x0.3" the size without its pitch, as it is printed on a bag of screws.
        sizes = [thread.name.partition("x")[0] for thread in threads.THREADS]
        choice = self.fields["screw_size"]
        choice.choices = [("", _t("no screw")), *((size, size) for size in sizes)]  # type: ignore[attr-defined]


class ModelForm(ActionForm):
    name = forms.CharField(label=_("Name of the model"), max_length=60)
    code = forms.SlugField(
        label=_("Code"),
        required=False,
        max_length=30,
        help_text=_("Left empty, it is made from the name."),
    )
    rim = forms.ChoiceField(
        label=_("Shape of the rims"),
        choices=RimShape.choices,
        initial=RimShape.PANTO,
        help_text=_("Customers see a frame of this shape and tap where it is broken."),
    )
    new_frame_cost = money(
        label=_("Making a new one costs"),
        help_text=_("Material, work and machine. Mending may cost a share of it: your limit."),
    )
    expected_life_months = whole(
        _("Lifetime the trade expects, months"), 1, 600, initial=24, help_text=_("Your judgement.")
    )
    polymer = forms.ModelChoiceField(Polymer.objects.all(), label=_("Polymer"), empty_label=None)
    colours = forms.MultipleChoiceField(label=_("Colours"), widget=forms.CheckboxSelectMultiple)
    front = MassField(label=_("Mass of the front"), help_text=_("Without lenses and screws."))
    arm = MassField(label=_("Mass of one arm"))
    lens = MassField(label=_("Mass of one lens"), required=False)
    screw = MassField(label=_("Mass of one hinge screw"), required=False)
    spread = percent(
        label=_("Pieces of the same kind differ by, %"),
        initial=10_000,
        max_value=50,
        help_text=_("One standard deviation. Weigh ten of each when you can; 1 is our guess."),
    )
    wall = millimetres(
        label=_("Wall around the screw hole, mm"),
        required=False,
        help_text=_("Decides whether a worn hole may be tapped one size up."),
    )
    arm_part = forms.ModelChoiceField(
        Part.objects.all(), label=_("Spare arm"), required=False, empty_label=_("none in stock")
    )
    screw_part = forms.ModelChoiceField(
        Part.objects.exclude(screw_size=""),
        label=_("Spare screw, posted to customers as a kit"),
        required=False,
        empty_label=_("none in stock"),
    )

    def __init__(self, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        listed = [(colour.code, colour.name) for colour in Colour.objects.all()]
        # Read when the form is made: a list in the class would be that of the day the server
        # started.
        self.fields["colours"].choices = listed  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        part = data.get("screw_part")
        if part is not None and not data.get("screw"):
            # The part was weighed once already; asking again would only let the two differ.
            data["screw"] = part.nominal_mg
        if part is not None and not data.get("screw"):
            self.add_error("screw", _t("Enter the mass of the screw."))
        return data

    def facts(self) -> dict[str, Any]:
        data = self.cleaned_data
        bill = model_setup.Bill(
            front_mg=data["front"],
            arm_mg=data["arm"],
            lens_mg=data["lens"],
            screw_mg=data["screw"],
            spread_ppm=data["spread"],
            wall_um=data["wall"],
        )
        model = model_setup.NewModel(
            name=data["name"],
            code=data["code"],
            new_frame_cost_minor=data["new_frame_cost"],
            expected_life_months=data["expected_life_months"],
            rim=data["rim"],
            polymer=data["polymer"],
            colours=tuple(Colour.objects.filter(code__in=data["colours"])),
            bill=bill,
            arm_part=data["arm_part"],
            screw_part=data["screw_part"],
        )
        return {"data": model}


class RemediesForm(ActionForm):
    chosen = forms.MultipleChoiceField(
        label=_("Remedies to start from"), widget=forms.CheckboxSelectMultiple
    )
    larger_screw = forms.ModelChoiceField(
        Part.objects.exclude(screw_size=""),
        label=_("Next larger screw, for tapping one size up"),
        required=False,
        empty_label=_("none in stock"),
    )

    def __init__(self, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        offered = model_setup.on_offer()
        # Stepping up takes a second size of screw: ticked without one it would refuse the whole
        # form.
        can_step_up = Part.objects.exclude(screw_size="").count() > 1
        choice = self.fields["chosen"]
        choice.choices = [(one.key, _worded(one)) for one in offered]  # type: ignore[attr-defined]
        choice.initial = [one.key for one in offered if can_step_up or not one.needs_larger_screw]

    def facts(self) -> dict[str, Any]:
        data = self.cleaned_data
        return {"chosen": data["chosen"], "larger_screw": data["larger_screw"]}


def _worded(one: Starting) -> SafeString:
    """Return the remedy's name, and under it what it answers and what we guess."""
    kind, defect = one.answers
    guess = _t(
        "%(component)s: %(defect)s. %(minutes)s min, works in %(odds)s of 100: typed, not measured"
    ) % {
        "component": ComponentKind(kind).label,
        "defect": DefectKey(defect).label,
        "minutes": one.minutes,
        "odds": one.odds_percent,
    }
    return format_html('<span>{}<span class="guess">{}</span></span>', _t(one.name), guess)


class OpeningForm(StepForm):
    keeps_holidays = forms.BooleanField(
        label=_("Public holidays are days off"), required=False, initial=True
    )
    holiday_region = forms.ChoiceField(
        label=_("Region"),
        required=False,
        help_text=_("Some holidays are kept in parts of a country."),
    )
    closed_days = forms.CharField(
        label=_("Your own closing days"),
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 5}),
        help_text=_("One day or span a line, such as 2026-12-24 to 2027-01-02."),
    )

    def __init__(self, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        regions = workshop_queries.regions(Workshop.the().country)
        listed = [("", _t("the whole country")), *((one, one) for one in regions)]
        self.fields["holiday_region"].choices = listed  # type: ignore[attr-defined]
        spans = self.initial.get("closed_days")
        if isinstance(spans, list):
            lines = (first if first == last else f"{first} - {last}" for first, last in spans)
            self.initial["closed_days"] = "\n".join(lines)


class ImprintForm(StepForm):
    phone = forms.CharField(
        label=_("Telephone"),
        required=False,
        max_length=40,
        widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "tel"}),
    )
    imprint = forms.CharField(
        label=_("Imprint"),
        required=False,
        max_length=1500,
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text=_(
            "Who answers for the workshop, its legal form, register and tax numbers: one a line, "
            "without name and address, which stand above it."
        ),
    )
    logo = forms.FileField(
        label=_("Logo"),
        required=False,
        widget=forms.FileInput(attrs={"accept": "image/png,image/jpeg,image/webp"}),
        help_text=_(
            "PNG, JPEG or WebP, at most 2 MB. It is drawn anew, at most 480 by 160 pixels. Empty "
            "leaves the one that is there."
        ),
    )
    drop_logo = forms.BooleanField(label=_("Take the logo away"), required=False)

    def facts(self) -> dict[str, Any]:
        upload = self.cleaned_data.get("logo")
        # One byte more than a logo may have, so that the rule can tell that it is too large.
        read = upload.read(LOGO_BYTES_MAX + 1) if upload else b""
        typed = {k: v for k, v in self.cleaned_data.items() if k != "key"}
        return {"facts": typed | {"logo": read}}


class BatchForm(ActionForm):
    code = forms.CharField(
        label=_("Batch"), max_length=20, help_text=_("As your sales list names it.")
    )
    colourway = forms.ModelChoiceField(
        Colourway.objects.select_related("model", "colour", "polymer"),
        label=_("Model and colour"),
        empty_label=None,
    )
    made_on = forms.DateField(
        label=_("Moulded on"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    pieces = whole(_("Good pieces"), 1, 1_000_000)
    melted_1 = percent(
        label=_("Melted once, %"),
        required=False,
        max_value=100,
        help_text=_("Moulding this batch counts: new plastic has been melted once then."),
    )
    melted_2 = percent(
        label=_("Melted twice, %"),
        required=False,
        max_value=100,
        help_text=_("Reclaimed things, melted by their maker and by you. Do not know? 100 here."),
    )
    melted_3 = percent(
        label=_("Melted three times, %"),
        required=False,
        max_value=100,
        help_text=_("Such as your own scrap of reclaimed plastic, ground and moulded again."),
    )
    melted_4 = percent(label=_("Melted four times, %"), required=False, max_value=100)

    def facts(self) -> dict[str, Any]:
        data = self.cleaned_data
        shares = {number: data[f"melted_{number}"] or 0 for number in range(1, 5)}
        told = {name: data[name] for name in ("colourway", "code", "made_on", "pieces")}
        return {"batch": Earlier(**told, shares=shares)}


class LimitsForm(StepForm):
    ceiling_ppm = percent(
        label=_("Mending may cost, against replacing, %"),
        max_value=1000,
        help_text=_(
            "Replacing is grinding the old frame, making and posting a new one, less the flake "
            "that the old one gives back. Over 100 means: we mend even where that would be cheaper."
        ),
    )
    mends_max = whole(_("Mends of one frame at most"), 1, 100)
    wall_ratio_ppm = percent(
        label=_("Wall left around a screw, at least, % of its diameter"),
        max_value=500,
        help_text=_("Common practice, no source: half the diameter."),
    )
    new_frame_batches = whole(
        _("Batches from which the cost of a new frame is worked out"),
        0,
        100,
        help_text=_("Their flake, their yield and their minutes of work must be noted. 0: never."),
    )
    new_frame_overhead_minor = money(
        label=_("Energy, press and rent of one new frame"),
        help_text=_("Stands beside material, work and bought parts. Your judgement."),
    )
    hole_offset_um = millimetres(label=_("A hole this far off stops the arm, mm"))
    kits_max = whole(_("Spare kits for one frame at most"), 1, 100)
    kits_days = whole(_("Days over which these kits are counted"), 1, 3650)
    withdraw_minutes = whole(
        _("A mend step or failed check noted by mistake: may be withdrawn for, minutes"),
        0,
        10_080,
        help_text=_("With a reason, by whoever is at the bench. The history keeps both. 0: never."),
    )


class TermsForm(StepForm):
    mending_minor = money(
        label=_("A mended frame costs the customer"),
        help_text=_("0 when mending costs nothing. Without the postage back."),
    )
    kit_minor = money(
        label=_("A kit of spare screws costs the customer"),
        help_text=_("0 when it costs nothing. With its postage."),
    )
    postage_in_paid_by = forms.ChoiceField(
        label=_("Who pays the postage to you?"),
        choices=PaidBy.choices,
        widget=forms.RadioSelect,
    )
    postage_back_paid_by = forms.ChoiceField(
        label=_("Who pays the postage back?"),
        choices=PaidBy.choices,
        widget=forms.RadioSelect,
    )
    cost_note = forms.CharField(
        label=_("About paying, in your words"),
        max_length=300,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_(
            "Customers read it as it stands: how they pay, or how they get the postage from you."
        ),
    )
    name_place = forms.CharField(
        label=_("Where the model's name stands on a frame"),
        max_length=120,
        required=False,
        help_text=_("Customers read it as it stands, such as “inside the left arm”."),
    )
    letter_wait_minutes = whole(
        _("A mail about a decision waits, minutes"),
        0,
        1440,
        help_text=_("A decision that you take back meanwhile is not told."),
    )
    remind_days = whole(_("A frame that has not come: remind after, days"), 1, 365)
    rest_days = whole(
        _("A frame that has not come: the request rests after, days"),
        2,
        730,
        help_text=_("Counted from the filing. The customer's link wakes it again."),
    )
    question_remind_days = whole(
        _("A question to a customer: remind after, days"),
        1,
        365,
        help_text=_("The frame waits for the answer, and its promised day pauses."),
    )
    question_owner_days = whole(
        _("A question to a customer: shown to you when unanswered after, days"), 1, 365
    )

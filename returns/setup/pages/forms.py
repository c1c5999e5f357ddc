"""The set-up's forms: one action each. `facts()` are the arguments of the form's rule."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _

from inventory.furniture.pages.forms import ActionForm
from inventory.models import Colour, Part, Polymer, Workshop
from inventory.models.weighing import ScaleClass
from returns.bench.pages import labels
from returns.catalogue.rules import model_setup
from returns.catalogue.rules.starting_remedies import Starting
from returns.mending import sums as threads
from returns.models.catalogue import ComponentKind, RimShape
from returns.models.remedies import DefectKey
from returns.models.terms import PaidBy
from returns.setup.pages.fields import MassField, millimetres, money, percent

_LABEL_MM_MAX = labels.SHEET_MM[0] - 2 * labels.SHEET_MARGIN_MM
_NUMERIC = {"inputmode": "numeric"}


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


class LimitsForm(StepForm):
    ceiling_ppm = percent(
        label=_("Mending may cost, against making a new frame, %"),
        max_value=1000,
        help_text=_("Over 100 means: we mend even where a new one would be cheaper."),
    )
    mends_max = whole(_("Mends of one frame at most"), 1, 100)
    wall_ratio_ppm = percent(
        label=_("Wall left around a screw, at least, % of its diameter"),
        max_value=500,
        help_text=_("Common practice, no source: half the diameter."),
    )
    hole_offset_um = millimetres(label=_("A hole this far off stops the arm, mm"))
    kits_max = whole(_("Spare kits for one frame at most"), 1, 100)
    kits_days = whole(_("Days over which these kits are counted"), 1, 3650)


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

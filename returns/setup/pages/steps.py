"""The steps of the set-up in words: what each is for, its form, its rule, what is there already."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Count, Model
from django.forms.models import model_to_dict
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inventory.furniture.pages.forms import ActionForm
from inventory.furniture.wording import ppm
from inventory.masters import rules as masters
from inventory.models import Admission, Colour, Part, Polymer, Scale, Workshop
from returns.catalogue.rules import model_setup
from returns.models import Colourway, FrameModel, Policy, Remedy, Terms
from returns.moulding import rules as moulding
from returns.setup.pages import forms
from returns.setup.rules import terms

Rule = Callable[..., Any]


@dataclass(frozen=True, slots=True)
class There:
    """Something entered already, and where it is changed."""

    name: str
    path: str
    colour: Colour | None = None

    @property
    def recipe(self) -> str:
        """Return a blend's shares in words, the largest first; "" for anything else."""
        shares = self.colour.shares.select_related("of") if self.colour else ()
        return ", ".join(f"{ppm(share.share_ppm)} {share.of.name}" for share in shares)


@dataclass(frozen=True, slots=True)
class Page:
    """A step. Without a form, `door` names the page where it is done."""

    title: Promise
    why: Promise
    press: Promise | str = ""
    form: type[ActionForm] | None = None
    rule: Rule | None = None
    row: Callable[[], Model] | None = None
    rows: Callable[[], Iterable[Model]] | None = None
    door: str = ""
    door_args: tuple[str, ...] = ()

    def initial(self) -> dict[str, Any]:
        """Return what the form starts with: the one row as it stands."""
        # Without the id: the form is of the one row there is, and must not be able to name another.
        row = self.row() if self.row else None
        return {k: v for k, v in model_to_dict(row).items() if k != "id"} if row else {}

    def there(self) -> list[There]:
        """Return what is entered already, each with its page in the admin."""
        return [
            There(str(row), _change(row), row if isinstance(row, Colour) else None)
            for row in (self.rows() if self.rows else ())
        ]

    def address(self, name: str) -> str:
        """Return the address where the step is done."""
        return (
            reverse(self.door, args=self.door_args)
            if self.door
            else reverse("setup-step", args=[name])
        )


def _change(row: Model) -> str:
    if isinstance(row, Colour) and row.is_blend:
        return reverse("recipe", args=[row.code])
    meta = row._meta
    return reverse(f"admin:{meta.app_label}_{meta.model_name}_change", args=[row.pk])


def _models() -> Iterable[Model]:
    # A model without a bill cannot be weighed against anything: it is not set up.
    return FrameModel.objects.annotate(lines=Count("components")).filter(lines__gt=0)


def _looks() -> Iterable[Model]:
    rows = Colourway.objects.exclude(differing=None, lens_tint="", name="").distinct()
    return rows.select_related("model", "colour")


PAGES: Final[dict[str, Page]] = {
    "workshop": Page(
        title=_("The workshop"),
        why=_("Name, address, money and promises. Slips, letters and sums stand on them."),
        press=_("Keep them"),
        form=forms.WorkshopForm,
        rule=masters.set_workshop,
        row=Workshop.the,
    ),
    "scale": Page(
        title=_("Scales"),
        why=_("Each reading carries its scale's uncertainty. One that shows 0.01 g will do."),
        press=_("Add the scale"),
        form=forms.ScaleForm,
        rule=masters.add_scale,
        rows=Scale.objects.all,
    ),
    "polymer": Page(
        title=_("Polymer"),
        why=_("What your frames are moulded from. Boxes and lots never mix polymers."),
        press=_("Add the polymer"),
        form=forms.PolymerForm,
        rule=masters.add_polymer,
        rows=Polymer.objects.all,
    ),
    "colours": Page(
        title=_("Colours"),
        why=_("Customers choose among them, and ground plastic is kept apart by them."),
        press=_("Add the colour"),
        form=forms.ColourForm,
        rule=masters.add_colour,
        rows=Colour.objects.all,
    ),
    "blends": Page(
        title=_("Blends and their recipes"),
        why=_("A colour that you mix by a recipe, marbled or even. Its box takes it only."),
        press=_("Add the blend"),
        form=forms.BlendForm,
        rule=masters.add_blend,
        rows=lambda: Colour.objects.filter(kind=Colour.Kind.BLEND),
    ),
    "mixing": Page(
        title=_("What may go with what"),
        why=_("What breaks together, or cannot be told apart, goes where this table allows."),
        press=_("Keep this box's line"),
        form=forms.MixingForm,
        rule=masters.set_admissions,
        rows=Admission.objects.select_related("into", "of").all,
    ),
    "parts": Page(
        title=_("Spare parts and their bins"),
        why=_("Screws, arms and pads that you keep. Each gets a bin that is counted."),
        press=_("Add the part"),
        form=forms.PartForm,
        rule=masters.add_part,
        rows=Part.objects.all,
    ),
    "model": Page(
        title=_("A model and its bill of materials"),
        why=_("What it is made of and weighs: so the scale can tell what is missing."),
        press=_("Add the model"),
        form=forms.ModelForm,
        rule=model_setup.add_model,
        rows=_models,
    ),
    "colourways": Page(
        title=_("Looks of several materials"),
        why=_("Front of one material, arms of another; spare arms and lenses of their own."),
        press=_("Add the look"),
        form=forms.ColourwayForm,
        rule=model_setup.add_colourway,
        rows=_looks,
    ),
    "remedies": Page(
        title=_("Remedies"),
        why=_("What you can do about a defect: minutes, parts, odds. Grading counts with them."),
        press=_("Take the ticked ones"),
        form=forms.RemediesForm,
        rule=model_setup.take_remedies,
        rows=Remedy.objects.all,
    ),
    "limits": Page(
        title=_("Your limits"),
        why=_("How dear a mend may be, and how often. Until you set them, our guesses count."),
        press=_("Keep them"),
        form=forms.LimitsForm,
        rule=model_setup.set_limits,
        row=Policy.the,
    ),
    "terms": Page(
        title=_("Costs, postage and waiting"),
        why=_(
            "Customers read it before they file, on the slip and in the first mail. Until you "
            "enter it, they read that they should ask you first."
        ),
        press=_("Keep them"),
        form=forms.TermsForm,
        rule=terms.set_terms,
        row=Terms.the,
    ),
    "opening": Page(
        title=_("Holidays and closing days"),
        why=_("Promised days do not count them, so a promise over your holidays stays true."),
        press=_("Keep them"),
        form=forms.OpeningForm,
        rule=masters.set_opening,
        row=Workshop.the,
    ),
    "imprint": Page(
        title=_("Imprint, telephone and logo"),
        why=_(
            "Pages, letters and papers say who writes. What an imprint must hold, local law "
            "decides: ask somebody who knows it."
        ),
        press=_("Keep them"),
        form=forms.ImprintForm,
        rule=masters.set_imprint,
        row=Workshop.the,
    ),
    "people": Page(
        title=_("People and their logins"),
        why=_("Bench hands and an accountant. To grind, a second person confirms at the box."),
        door="people",
    ),
    "stock": Page(
        title=_("Opening stock"),
        why=_("What lies in boxes, lots and bins today. Only what was there before this ledger."),
    ),
    "batches": Page(
        title=_("Batches moulded before"),
        why=_("Frames that you sold before this ledger: when they were moulded, and of what."),
        press=_("Add the batch"),
        form=forms.BatchForm,
        rule=moulding.note_earlier,
    ),
    "sold": Page(
        title=_("Sold units"),
        why=_("What you sold, by batch and month. Without it no return rate and no lifetime."),
    ),
}

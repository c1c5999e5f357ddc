"""What customers type: the two filing forms, the address, and asking for a link again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from dataclasses import field as column
from typing import Any, Final

from django import forms
from django.conf import settings
from django.utils.functional import lazy
from django.utils.translation import get_language
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _

from inventory.errors import BadInput
from inventory.furniture.pages.forms import ActionForm
from inventory.models import Workshop
from returns.customers import rules as people
from returns.customers.rules import Contact
from returns.filing.queries.frames import FiledFrame
from returns.filing.rules import intake, photos
from returns.filing.rules.intake import AskedFrame, Filing
from returns.models import Colourway, DraftPhoto, Request
from returns.models.catalogue import ComponentKey
from returns.models.filing import Wish
from returns.models.remedies import DefectKey

ADDRESS_FIELDS = ("name", "street", "extra", "postal_code", "city", "region", "country")

# What a customer can see for themselves; the finer defects are the bench's words.
_DEFECTS = [
    (DefectKey.LOOSE, _("the screw is loose or keeps coming loose")),
    (DefectKey.MISSING, _("the part is lost")),
    (DefectKey.SNAPPED, _("snapped in two")),
    (DefectKey.CRACKED_PIVOT, _("cracked at the hinge")),
    (DefectKey.CRACKED, _("cracked somewhere else")),
    (DefectKey.STRIPPED, _("the screw turns but does not hold")),
    (DefectKey.GROOVE, _("the lens falls out")),
    (DefectKey.WARPED, _("bent or warped")),
    (DefectKey.SCUFFED, _("scuffed or scratched")),
]
_FURTHER: Final = (1, 2)
_OR_NOTHING: list[Any] = [("", _("nothing more"))]
_SCREW_DEFECTS = _DEFECTS[:2]
# As the page shows them, so that the summary of errors leads through it from top to bottom.
_FRAME_ORDER: Final = (
    *("colourway", "unknown", "component", "defect"),
    *("more_component_1", "more_defect_1", "more_component_2", "more_defect_2"),
    *("note", "photos", "wish", "lenses_back"),
)


def troubles_in_words(frame: FiledFrame) -> list[str]:
    """Everything that is wrong, each with its part, in the words in which it was chosen."""
    given = dict(_DEFECTS)
    return [
        f"{ComponentKey(component).label}: "
        + str(given.get(DefectKey(defect), DefectKey(defect).label))
        for component, defect in frame.troubles
    ]


def country_name(code: str) -> str:
    """A country's name in the page's language; the code itself for one that is not known."""
    from django_countries import countries as known

    return str(known.name(code)) or code


def sent_abroad_to(request: Request) -> str:
    """The workshop's country, which a parcel needs when it comes from another; else empty."""
    home = Workshop.the().country
    abroad = request.person is not None and request.person.country not in ("", home)
    return country_name(home) if abroad else ""


def countries() -> list[tuple[str, str]]:
    """Every country's code and name in the page's language, in order of the names."""
    from django_countries import countries as known

    return [("", str(_("Choose a country"))), *((row.code, row.name) for row in known)]


class AddressFields(forms.Form):
    """A postal address, checked for its country: which parts must be there depends on it."""

    name = forms.CharField(
        label=_("Name"),
        max_length=100,
        help_text=_("As it is on your letter box."),
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
        error_messages={"required": _("Enter your name, as it is on your letter box.")},
    )
    street = forms.CharField(
        label=_("Street and number, or PO box"),
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "address-line1"}),
    )
    extra = forms.CharField(
        label=_("Flat, floor, care of"),
        max_length=120,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "address-line2"}),
    )
    postal_code = forms.CharField(
        label=_("Postal code"),
        max_length=12,
        required=False,
        help_text=_("Leave it empty only where your country has none."),
        widget=forms.TextInput(attrs={"autocomplete": "postal-code", "class": "short"}),
    )
    city = forms.CharField(
        label=_("Town or city"),
        max_length=80,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "address-level2"}),
    )
    region = forms.CharField(
        label=_("State, province or region"),
        max_length=80,
        required=False,
        help_text=_("Only where addresses in your country have one."),
        widget=forms.TextInput(attrs={"autocomplete": "address-level1"}),
    )
    country = forms.ChoiceField(
        label=_("Country"),
        choices=countries,
        initial=lambda: Workshop.the().country,
        widget=forms.Select(attrs={"autocomplete": "country"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        country = str(self["country"].value() or "")
        # An empty address for the chosen country: what it lacks is what that country asks for, and
        # those fields become required.
        nowhere = Contact("", "", "", "", "", "", "", country.upper())
        for field, sentence in people.address_slips(nowhere).items():
            self.fields[field].required = True
            self.fields[field].error_messages["required"] = sentence

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if "country" in cleaned:
            for field, sentence in people.address_slips(self.contact()).items():
                if field not in self.errors:
                    self.add_error(field, sentence)
        return cleaned

    def contact(self) -> Contact:
        """What was typed, as the rules take it; a missing or bad field is empty."""
        typed = {name: self.cleaned_data.get(name, "") for name in ADDRESS_FIELDS}
        email = self.cleaned_data.get("email", "")
        return Contact(email=email, language=get_language() or "en", **typed)


class AddressForm(AddressFields, ActionForm):
    """Changing the address of a request."""


class PhotoInput(forms.FileInput):
    allow_multiple_selected = True


@dataclass(slots=True)
class Chosen:
    """What came of the photos that somebody chose: those drawn anew, what is wrong with others."""

    pictures: list[photos.Picture] = column(default_factory=list)
    slips: list[str] = column(default_factory=list)


class PhotosField(forms.FileField):
    """Photos, each decoded and drawn anew; what is wrong with one is said of that one."""

    widget = PhotoInput(
        attrs={
            "accept": "image/jpeg,image/png,image/webp,image/heic,image/heif",
            "multiple": True,
            "data-shrink": photos.SIDE_PX_MAX,
        }
    )

    def clean(self, data: Any, initial: Any = None) -> Chosen:
        del initial
        chosen = Chosen()
        # One more than fits is still drawn, so that the rule can refuse; a hundred are not.
        for upload in [upload for upload in data or [] if upload][: photos.PHOTOS_MAX + 1]:
            try:
                chosen.pictures.append(photos.redraw(upload, size_bytes=upload.size))
            except BadInput as error:
                chosen.slips.append(f"{upload.name}: {error.message}")
        return chosen


def _photo_help() -> str:
    megabytes, most = settings.PHOTO_BYTES_MAX // 1_000_000, photos.PHOTOS_MAX
    return _t(
        "Up to %(most)s, JPEG, PNG, WebP or HEIC, each at most %(megabytes)s MB. We keep the "
        "picture only, not where and when it was taken. What you have chosen stays when the form "
        "comes back; we delete it after a day if you do not file."
    ) % {"most": most, "megabytes": megabytes}


class FrameForm(forms.Form):
    """What is asked of one frame: which it is, and what is wrong with it and where."""

    colourway = forms.ModelChoiceField(
        Colourway.objects.none(),
        label=_("Which frame is it?"),
        widget=forms.RadioSelect,
        empty_label=None,
        error_messages={"required": _("Choose one of our frames.")},
    )
    component = forms.ChoiceField(
        label=_("Where is it broken?"),
        help_text=_(
            "Tap the part in the drawing or choose it below. Left and right as you wear it."
        ),
        choices=ComponentKey.choices,
        widget=forms.RadioSelect,
        error_messages={"required": _("Choose the part that is broken.")},
    )
    defect = forms.ChoiceField(
        label=_("What is wrong?"),
        choices=_DEFECTS,
        widget=forms.RadioSelect,
        error_messages={"required": _("Choose what is wrong.")},
    )
    note = forms.CharField(
        label=_("In your own words"),
        max_length=intake.NOTE_LENGTH_MAX,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    photos = PhotosField(
        label=_("Photos"),
        required=False,
        help_text=lazy(_photo_help, str)(),
    )
    number = 1
    kept: Sequence[DraftPhoto] = ()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.pictures: list[photos.Picture] = []
        # The choices in one query, models and colours along: each label needs both.
        rows = Colourway.objects.filter(active=True, model__active=True)
        rows = rows.select_related("model", "colour").prefetch_related("differing__colour")
        rows = rows.order_by("model__name", "colour__name", "variant")
        self.fields["colourway"].queryset = rows  # type: ignore[attr-defined]

    def clean_photos(self) -> Chosen:
        """The photos that can be read are kept, whatever is wrong with the others."""
        chosen: Chosen = self.cleaned_data["photos"]
        self.pictures = chosen.pictures
        for slip in chosen.slips:
            self.add_error("photos", slip)
        return chosen

    def frame(self) -> AskedFrame:
        """What was said of the frame, as the rules take it."""
        typed = self.cleaned_data
        return AskedFrame(
            colourway=typed["colourway"],
            component=typed["component"],
            defect=typed["defect"],
            note=typed["note"],
            wish=typed.get("wish", ""),
            lenses_back=typed.get("lenses_back") == "yes",
        )


class FilingForm(FrameForm, AddressFields, ActionForm):
    """What both requests ask: the frame, what is wrong and where, and who asks.

    The order is the page's, so that the summary of errors leads through it from top to bottom.
    """

    field_order = ("key", *_FRAME_ORDER, "email", *ADDRESS_FIELDS, "notice")

    email = forms.EmailField(
        label=_("Email"),
        max_length=254,
        help_text=_("We write at each turn, and for nothing else."),
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
        error_messages={"required": _("Enter an email address, such as name@example.org.")},
    )
    notice = forms.BooleanField(
        label=_("I have read what happens with my frame and with my data."),
        error_messages={"required": _("Read the notice and tick that you have read it.")},
    )

    @property
    def frame_forms(self) -> list[FrameForm]:
        """The parts of the form that are about a frame each."""
        return [self]

    def filing(self) -> Filing:
        """What was asked, as the rules take it."""
        return Filing.of(
            [one.frame() for one in self.frame_forms],
            notice_version=intake.NOTICE_VERSION,
            contact=self.contact(),
        )


class ScrewsForm(FilingForm):
    """Asking for a spare kit."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["defect"].choices = _SCREW_DEFECTS  # type: ignore[attr-defined]
        rows = self.fields["colourway"].queryset  # type: ignore[attr-defined]
        # Both conditions in one `filter`, so that they hold for one and the same component.
        in_kit = rows.filter(model__components__in_kit=True, model__components__part__isnull=False)
        self.fields["colourway"].queryset = in_kit.distinct()  # type: ignore[attr-defined]
        del self.fields["photos"]


class ReturnFrameForm(FrameForm):
    """A frame that is sent back: further troubles of it, and what we may do with it."""

    unknown = forms.BooleanField(label=_("I do not know which model it is"), required=False)
    more_component_1 = forms.ChoiceField(
        label=_("Second part"), choices=_OR_NOTHING + ComponentKey.choices, required=False
    )
    more_defect_1 = forms.ChoiceField(
        label=_("What is wrong with it?"), choices=_OR_NOTHING + _DEFECTS, required=False
    )
    more_component_2 = forms.ChoiceField(
        label=_("Third part"), choices=_OR_NOTHING + ComponentKey.choices, required=False
    )
    more_defect_2 = forms.ChoiceField(
        label=_("What is wrong with it?"), choices=_OR_NOTHING + _DEFECTS, required=False
    )
    wish = forms.ChoiceField(
        label=_("If it cannot be mended, what shall we do?"),
        choices=Wish.choices,
        widget=forms.RadioSelect,
        error_messages={"required": _("Say what we may do if it cannot be mended.")},
    )
    lenses_back = forms.ChoiceField(
        label=_("If we take the frame apart, do you want your lenses back?"),
        choices=[("yes", _("yes, post my lenses to me")), ("no", _("no, I do not need them"))],
        widget=forms.RadioSelect,
        error_messages={"required": _("Say whether you want your lenses back.")},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["colourway"].error_messages["required"] = _t(
            "Choose one of our frames, or tick that you do not know which."
        )
        if self.is_bound and self["unknown"].value():
            self.fields["colourway"].required = False

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        for number in _FURTHER:
            pair = {name: cleaned.get(f"more_{name}_{number}") for name in ("component", "defect")}
            empty = [name for name, value in pair.items() if not value]
            # Half a pair is a slip; both empty means nothing more.
            if len(empty) == 1 and f"more_{empty[0]}_{number}" not in self.errors:
                slip = _t("Choose a part and what is wrong with it, or neither.")
                self.add_error(f"more_{empty[0]}_{number}", slip)
        return cleaned

    def frame(self) -> AskedFrame:
        typed = self.cleaned_data
        pairs = [(typed[f"more_component_{n}"], typed[f"more_defect_{n}"]) for n in _FURTHER]
        return replace(super().frame(), more=tuple(pair for pair in pairs if all(pair)))

    @property
    def says_more(self) -> bool:
        """Whether anything was said of a second or third part, so that these are shown."""
        names = [f"more_{name}_{number}" for name in ("component", "defect") for number in _FURTHER]
        return any(self[name].value() for name in names)


class FurtherForm(ReturnFrameForm):
    """One more frame in the same request. `block` is its number in the form, which stays when
    another frame is taken out; `number` is the one that people read.
    """

    field_order = _FRAME_ORDER

    def __init__(self, block: int, number: int, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, prefix=f"f{block}", **kwargs)
        self.block, self.number = block, number
        _name_frame(self, number)


class ReturnForm(ReturnFrameForm, FilingForm):
    """Sending frames back: the first one, those beside it, and who asks."""

    block = 1
    further_before = "email"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.further: list[FurtherForm] = []
        if not self.is_bound:
            return
        for number, block in enumerate(blocks_in(self.data), start=2):
            self.further.append(FurtherForm(block, number, self.data, self.files))
        if self.further:
            _name_frame(self, 1)

    @property
    def frame_forms(self) -> list[FrameForm]:
        return [self, *self.further]

    @property
    def may_add(self) -> bool:
        """Whether one more frame fits into the request."""
        return len(self.frame_forms) < intake.FRAMES_MAX

    def is_valid(self) -> bool:
        # Each is asked, so that all faults are found in one round.
        further = [one.is_valid() for one in self.further]
        return super().is_valid() and all(further)

    def judge_nothing(self) -> None:
        """Take back what was found wrong: a frame was added or taken out, and nothing was filed."""
        for one in self.frame_forms:
            one.full_clean()
            one.errors.clear()


def blocks_in(data: Any) -> list[int]:
    """Return which further frames a form that was sent holds, at most as many as may be filed."""
    sent = [text for text in data.getlist("frame") if text.isascii() and text.isdigit()]
    blocks = dict.fromkeys(int(text) for text in sent if len(text) <= 2 and int(text) > 1)
    return list(blocks)[: intake.FRAMES_MAX - 1]


def _name_frame(form: FrameForm, number: int) -> None:
    """Have each fault of a frame's fields say which frame it is of."""
    for name in _FRAME_ORDER:
        if name in form.fields:
            form.fields[name].of = _t("Frame %(number)s") % {"number": number}  # type: ignore[attr-defined]


class FindForm(forms.Form):
    """Asking for the link again."""

    reference = forms.CharField(
        label=_("Reference"),
        max_length=40,
        help_text=_("It starts with Q and stands on your slip and in our letters."),
        widget=forms.TextInput(attrs={"autocapitalize": "characters", "spellcheck": "false"}),
    )
    email = forms.EmailField(
        label=_("Email"),
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
    )

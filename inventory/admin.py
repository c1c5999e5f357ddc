"""The ledger room's masters for the owner to edit, and its books for the owner to read.

What is written once can be looked at here and never added, changed or deleted, whoever asks.
"""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any, ClassVar, cast

from django import forms
from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.contrib.auth.models import User
from django.core.validators import RegexValidator
from django.db.models import Model, QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import lazy
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory import events
from inventory.masters import queries as practice
from inventory.models import (
    Admission,
    BlendShare,
    ClassPrice,
    Colour,
    Event,
    GoodsKind,
    Lot,
    Month,
    MonthBalance,
    Movement,
    Part,
    Polymer,
    Posting,
    Reading,
    Scale,
    SpoilCause,
    Workshop,
)
from inventory.weighing.sums import certificates
from inventory.weighing.sums.weighing import REPEATS_MIN

if TYPE_CHECKING:
    Admin = admin.ModelAdmin[Any]
    Lines = admin.TabularInline[Any, Any]
    Form = forms.ModelForm[Any]
    People = UserAdmin[User]
else:
    Admin, Lines, Form = admin.ModelAdmin, admin.TabularInline, forms.ModelForm
    People = UserAdmin


# Called again for every page (below, as a lazy text): neither the reader's language nor the flag
# for practice data is known when this module is read.
def _header() -> str:
    """The admin's own head; on practice data it says so on every page."""
    head = gettext("Masters and books")
    data = gettext("Practice: everything here is invented")
    return f"{data} · {head}" if practice.is_on_lately() else head


admin.site.site_header = lazy(_header, str)()
admin.site.site_title = lazy(_header, str)()
admin.site.index_title = _("What the workshop works with")
admin.site.site_url = "/desk/"


class Master(Admin):
    """A table that the owner edits. What is in use cannot be deleted: the database protects it.

    `fixed` names the fields by which books and lists know a row; they are given once. Closed
    reports name their classes and parts by code, so a new code would rewrite them.
    """

    save_on_top = True
    list_per_page = 100
    # A plain tuple on the class: `get_readonly_fields` adds it only for a row that is stored
    # already, so that the code can still be typed once.
    fixed: ClassVar[tuple[str, ...]] = ()

    def get_readonly_fields(self, request: HttpRequest, obj: Model | None = None) -> list[str]:
        return [*super().get_readonly_fields(request, obj), *(self.fixed if obj else ())]

    # In the transaction of the change, after the row and its lines are saved: so what the owner
    # edits here is in the history, and the event bears witness to the row.
    def log_addition(self, request: HttpRequest, obj: Model, message: Any) -> Any:
        self._tell(request, obj, "masters.added")
        return super().log_addition(request, obj, message)

    def log_change(self, request: HttpRequest, obj: Model, message: Any) -> Any:
        self._tell(request, obj, "masters.changed")
        return super().log_change(request, obj, message)

    def log_deletions(self, request: HttpRequest, queryset: QuerySet[Any]) -> Any:
        for row in queryset:
            self._tell(request, row, "masters.deleted")
        return super().log_deletions(request, queryset)

    def _tell(self, request: HttpRequest, row: Model, name: str) -> None:
        subject = f"{row._meta.model_name}-{row.pk}"
        key, actor = uuid.uuid4(), cast("User", request.user)
        events.record(
            key=key, name=name, subject=subject, facts=[subject], at=timezone.now(), actor=actor
        )


class OneRow(Master):
    """A table of exactly one row: its list is the row, which cannot be added twice or deleted."""

    actions = None

    def has_add_permission(self, request: HttpRequest) -> bool:
        del request
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        del request, obj
        return False

    def changelist_view(
        self, request: HttpRequest, extra_context: dict[str, Any] | None = None
    ) -> HttpResponse:
        if not self.has_view_or_change_permission(request):
            return super().changelist_view(request, extra_context)
        row = self.model.the()
        meta = self.model._meta
        to = reverse(f"admin:{meta.app_label}_{meta.model_name}_change", args=[row.pk])
        return HttpResponseRedirect(to)


class Book(Admin):
    """A table that is only read here."""

    actions = None
    list_per_page = 100
    # A filtered list would otherwise count the whole table too, and these tables only ever grow.
    show_full_result_count = False

    def has_add_permission(self, request: HttpRequest) -> bool:
        del request
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        del request, obj
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        del request, obj
        return False


# Django asks an inline for permissions of its own: those of the page around it do not bind it.
class BookLines(Lines):
    """Lines of a book, only read."""

    extra = 0
    can_delete = False

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        del request, obj
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        del request, obj
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        del request, obj
        return False


class WorkshopForm(Form):
    country = forms.CharField(
        label=_("country code"),
        max_length=2,
        # `\Z` and not `$`, here and below: `$` also matches before a line break at the end.
        validators=[RegexValidator(r"^[A-Z]{2}\Z", _("Two capital letters, such as DE."))],
    )
    currency = forms.CharField(
        label=_("currency (ISO 4217)"),
        max_length=3,
        validators=[RegexValidator(r"^[A-Z]{3}\Z", _("Three capital letters, such as EUR."))],
    )

    class Meta:
        model = Workshop
        fields = (
            "name",
            "address",
            "country",
            "email",
            "currency",
            "labour_minor_per_hour",
            "postage_out_minor",
            "postage_in_minor",
            "strip_minutes",
            "grind_loss_limit_ppm",
            "promise_days",
            "kit_promise_days",
            "retention_days",
            "label_width_mm",
            "label_height_mm",
        )


@admin.register(Workshop)
class WorkshopAdmin(OneRow):
    form = WorkshopForm


@admin.register(Polymer)
class PolymerAdmin(Master):
    fixed = ("code",)
    list_display = ("code", "name")


class ColourForm(Form):
    swatch = forms.CharField(
        label=_("swatch (#rrggbb)"),
        max_length=7,
        initial="#777777",
        validators=[
            RegexValidator(r"^#[0-9a-fA-F]{6}\Z", _("Write # and six digits, such as #4b5661."))
        ],
    )

    class Meta:
        model = Colour
        fields = ("code", "name", "swatch")


class ShareLines(BookLines):
    """A recipe is entered whole at the set-up: line by line it would not add up."""

    model = BlendShare
    fk_name = "blend"
    fields = ("of", "share_ppm")
    verbose_name_plural = _("recipe")


@admin.register(Colour)
class ColourAdmin(Master):
    fixed = ("code",)
    form = ColourForm
    list_display = ("code", "name", "kind", "swatch")

    def get_inlines(self, request: HttpRequest, obj: Any) -> list[Any]:
        del request
        return [ShareLines] if obj is not None and obj.is_blend else []


@admin.register(Admission)
class AdmissionAdmin(Master):
    list_display = ("into", "of")
    list_select_related = ("into", "of")
    list_filter = ("into",)


@admin.register(ClassPrice)
class ClassPriceAdmin(Master):
    list_display = ("polymer", "colour", "origin", "price_minor_per_kg", "for_sale")
    list_filter = ("origin",)
    list_select_related = ("polymer", "colour")


class CertificateField(forms.CharField):
    """A certificate typed off by lines, kept as rows of load, error and standard uncertainty."""

    widget = forms.Textarea(attrs={"rows": 6, "cols": 40})

    def prepare_value(self, value: Any) -> Any:
        return "\n".join(certificates.lines(value)) if isinstance(value, list) else value

    def clean(self, value: Any) -> list[certificates.Point]:
        try:
            return certificates.points(super().clean(value))
        except certificates.BadCertificate as error:
            raise forms.ValidationError(gettext(error.template) % {"line": error.line}) from error

    def has_changed(self, initial: Any, data: Any) -> bool:
        return bool(self.prepare_value(initial) != data)


class ScaleForm(Form):
    """Checks the limits of the weighing sums here, at the field, before any reading meets them."""

    certificate = CertificateField(
        label=_("certificate, load by load"),
        required=False,
        max_length=4000,
        help_text=_(
            "A line for each load: load; error; U; k. For example “20 g; -0.1 mg; 0.2 mg; 2”. "
            "Masses are not corrected by it; its errors count as doubt."
        ),
    )

    class Meta:
        model = Scale
        fields = (
            "name",
            "accuracy",
            "division_mg",
            "verification_mg",
            "capacity_mg",
            "minimum_mg",
            "check_due",
            "in_use",
            "checked_on",
            "calibration_u_ug",
            "certificate",
            "repeatability_ug",
            "repeats",
            "eccentricity_ug",
            "eccentricity_load_mg",
            "drift_ppm",
        )

    def clean(self) -> dict[str, Any]:
        facts: dict[str, Any] = super().clean() or {}
        division, verification = facts.get("division_mg"), facts.get("verification_mg")
        if division and verification and division > verification:
            self.add_error(
                "division_mg", _("The division d is not larger than the verification interval e.")
            )
        for one, other in (
            ("repeatability_ug", "repeats"),
            ("eccentricity_ug", "eccentricity_load_mg"),
        ):
            if (facts.get(one) is None) != (facts.get(other) is None):
                self.add_error(other, _("These two belong together: enter both, or neither."))
        if facts.get("repeats") is not None and facts["repeats"] < REPEATS_MIN:
            words = _("Weigh the same load at least %(least)s times.")
            self.add_error("repeats", words % {"least": REPEATS_MIN})
        if facts.get("eccentricity_load_mg") == 0:
            self.add_error("eccentricity_load_mg", _("The load must be more than zero."))
        return facts


@admin.register(Scale)
class ScaleAdmin(Master):
    form = ScaleForm
    fieldsets = (
        (
            _("From its plate"),
            {
                "fields": (
                    "name",
                    "accuracy",
                    ("division_mg", "verification_mg"),
                    ("capacity_mg", "minimum_mg"),
                    "check_due",
                    "in_use",
                )
            },
        ),
        (
            _("From its last check"),
            {
                "description": _(
                    "What is left empty is taken at the most that its class allows, so that "
                    "masses are in more doubt than they need be. New readings take what is "
                    "entered here; those made before stay as they are."
                ),
                "fields": (
                    "checked_on",
                    "calibration_u_ug",
                    "certificate",
                    ("repeatability_ug", "repeats"),
                    ("eccentricity_ug", "eccentricity_load_mg"),
                    "drift_ppm",
                ),
            },
        ),
    )
    list_display = ("name", "accuracy", "division_mg", "capacity_mg", "check_due", "in_use")
    list_filter = ("in_use",)


@admin.register(Part)
class PartAdmin(Master):
    fixed = ("code",)
    list_display = ("code", "name", "screw_size", "price_minor", "reorder_level", "pack_size")
    search_fields = ("code", "name")


@admin.register(GoodsKind)
class GoodsKindAdmin(Master):
    """Kinds of goods, beside those that every workshop starts with."""

    fixed = ("code",)
    list_display = ("code", "name", "active")


@admin.register(SpoilCause)
class SpoilCauseAdmin(Master):
    """Causes of spoiled pairs, beside those that every workshop starts with."""

    fixed = ("code",)
    list_display = ("code", "name", "active")


class PostingLines(BookLines):
    model = Posting
    fields = ("line", "source", "target", "quantity", "reading")

    def get_queryset(self, request: HttpRequest) -> QuerySet[Any]:
        # Each line shows both of its places and its reading; unjoined that is three queries a line.
        return super().get_queryset(request).select_related("source", "target", "reading")


@admin.register(Movement)
class MovementAdmin(Book):
    list_display = ("number", "kind", "subject", "happened_at", "month", "belongs_to", "reason")
    list_filter = ("kind", "month")
    search_fields = ("=number", "subject")
    inlines: ClassVar[list[Any]] = [PostingLines]


@admin.register(Posting)
class PostingAdmin(Book):
    list_display = ("movement", "line", "source", "target", "quantity")
    list_select_related = ("movement", "source", "target")


@admin.register(Reading)
class ReadingAdmin(Book):
    list_display = ("at", "scale", "typed", "mass_mg", "own_uncertainty", "shared", "flags")
    list_select_related = ("scale",)
    list_filter = ("scale",)

    # Headings are shown in capitals, where µg would read as MG.
    @admin.display(description=_("own standard uncertainty, micrograms"), ordering="u_own_ug")
    def own_uncertainty(self, reading: Reading) -> int:
        return reading.u_own_ug

    @admin.display(description=_("shared on this scale, micrograms"), ordering="u_shared_ug")
    def shared(self, reading: Reading) -> int:
        return reading.u_shared_ug


class MonthBalanceLines(BookLines):
    model = MonthBalance
    fields = ("place", "quantity")

    def get_queryset(self, request: HttpRequest) -> QuerySet[Any]:
        return super().get_queryset(request).select_related("place")


@admin.register(Month)
class MonthAdmin(Book):
    list_display = ("label", "closed_at", "closed_by", "last_number", "digest")
    list_select_related = ("closed_by",)
    inlines: ClassVar[list[Any]] = [MonthBalanceLines]


@admin.register(Event)
class EventAdmin(Book):
    list_display = ("at", "name", "subject", "actor")
    list_filter = ("name",)
    list_select_related = ("actor",)
    search_fields = ("subject",)


@admin.register(Lot)
class LotAdmin(Book):
    list_display = ("code", "polymer", "colour", "origin", "made_at")
    list_select_related = ("polymer", "colour")
    list_filter = ("origin",)


class StaffAdmin(People):
    """People and their roles. Nobody raises themselves above their own rights here.

    Only a superuser may give superuser rights or single permissions, or touch a superuser. A
    person who leaves is switched off, not deleted: the books name them.
    """

    # Groups are left out on purpose: whoever edits people gives them their roles.
    _ABOVE = ("is_superuser", "user_permissions")
    list_display = ("username", "first_name", "is_active", "is_staff", "roles")

    @admin.display(description=_("roles"))
    def roles(self, person: User) -> str:
        return ", ".join(sorted(group.name for group in person.groups.all()))

    def get_queryset(self, request: HttpRequest) -> QuerySet[User]:
        return super().get_queryset(request).prefetch_related("groups")

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> Any:
        del obj
        fixed = ("last_login", "date_joined")
        return fixed if request.user.is_superuser else (*fixed, *self._ABOVE)

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        # Else whoever may edit people could set a superuser's password and log in as one.
        if obj is not None and obj.is_superuser and not request.user.is_superuser:
            return False
        return super().has_change_permission(request, obj)

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        del request, obj
        return False


admin.site.unregister(User)
admin.site.register(User, StaffAdmin)

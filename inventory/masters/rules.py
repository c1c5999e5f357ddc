"""Entering what the workshop works with: itself, its scales, polymers, colours and parts.

One action each, with the masters' own checks. What was entered is changed in the admin, except
for the workshop's one row.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from math import isqrt
from typing import TYPE_CHECKING, Any, Final, TypeVar
from uuid import UUID

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db.models import Model
from django.utils.text import slugify
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, StaleState
from inventory.events import Draft
from inventory.ledger.rules import places
from inventory.masters import queries, sums
from inventory.models import (
    Admission,
    BlendShare,
    Colour,
    Event,
    FormerRecipe,
    Part,
    Polymer,
    Scale,
    Workshop,
    WorkshopLogo,
)
from inventory.models.materials import WHOLE_PPM

if TYPE_CHECKING:
    from django.contrib.auth.models import User

Row = TypeVar("Row", bound=Model)
Facts = Mapping[str, Any]

CODE_LENGTH_MAX: Final = 20
SHARES_MAX: Final = 8
# All of these are matched with `fullmatch`, so none needs an anchor; `[0-9]` and not `\d`, which
# also takes the digits of other scripts.
_COUNTRY, _CURRENCY = re.compile(r"[A-Z]{2}"), re.compile(r"[A-Z]{3}")
_POLYMER = re.compile(r"[A-Z][A-Z0-9+/-]{1,11}")
_SWATCH = re.compile(r"#[0-9a-fA-F]{6}")
_PHONE = re.compile(r"[0-9+()/ -]{3,40}")
_THREAD = re.compile(r"M[0-9](\.[0-9]{1,2})?")


def as_it_stands(kind: type[Row]) -> Callable[[Event], Row]:
    """Return the function by which a repeat finds the row that was entered, as it stands now."""
    return lambda event: kind._default_manager.get(pk=event.detail["id"])


def sealed(facts: Facts) -> str:
    """Return a keyed fingerprint of what was typed, so that nobody can try out an address."""
    return events.sealed("hingeback.masters", events.fingerprint(dict(facts)))


@events.rule("masters.set_opening", facts=sealed, again=as_it_stands(Workshop))
def set_opening(event: Draft, /, *, key: UUID, facts: Facts, at: datetime, by: User) -> Workshop:
    """Write which days promises do not count. Raises BadInput naming the field."""
    workshop = Workshop.the()
    region = str(facts["holiday_region"])
    if region and region not in queries.regions(workshop.country):
        raise BadInput(_("Choose one of these."), field="holiday_region")
    try:
        closed = sums.spans(str(facts["closed_days"]))
    except sums.BadSpan as error:
        message = _("“%(line)s” is no day and no span of days: write 2026-12-24 to 2027-01-02.")
        raise BadInput(message % {"line": error.line[:40]}, field="closed_days") from error
    workshop.keeps_holidays, workshop.holiday_region = bool(facts["keeps_holidays"]), region
    workshop.closed_days = [[first.isoformat(), last.isoformat()] for first, last in closed]
    workshop.save(update_fields=["keeps_holidays", "holiday_region", "closed_days"])
    event.of("workshop", id=workshop.pk)
    return workshop


def _sealed_imprint(facts: Facts) -> str:
    typed = {name: value for name, value in facts.items() if name != "logo"}
    return sealed(typed | {"logo": sha256(facts.get("logo") or b"").hexdigest()})


@events.rule("masters.set_imprint", facts=_sealed_imprint, again=as_it_stands(Workshop))
def set_imprint(event: Draft, /, *, key: UUID, facts: Facts, at: datetime, by: User) -> Workshop:
    """Write telephone, imprint and logo; an empty `logo` leaves the one that is there.

    `logo` is an upload's bytes; `drop_logo` takes the present one away. Raises BadInput for what is
    no picture.
    """
    workshop = Workshop.the()
    phone, upload = str(facts["phone"]).strip(), bytes(facts.get("logo") or b"")
    # ITU-T E.164 (2010), 6.1: at most 15 digits.
    digits = sum(sign.isdigit() for sign in phone)
    if phone and not (_PHONE.fullmatch(phone) and 3 <= digits <= 15):
        raise BadInput(
            _("At most 15 digits, with blanks and + ( ) / - between them."), field="phone"
        )
    workshop.phone, workshop.imprint = phone, str(facts["imprint"]).strip()
    if upload:
        try:
            png = sums.logo(upload)
        except sums.BadPicture as error:
            message = _("This is no picture that we can use: PNG, JPEG or WebP, at most 2 MB.")
            raise BadInput(message, field="logo") from error
        WorkshopLogo.objects.update_or_create(pk=1, defaults={"png": png})
        workshop.logo_digest = sha256(png).hexdigest()
    elif facts.get("drop_logo"):
        WorkshopLogo.objects.all().delete()
        workshop.logo_digest = ""
    workshop.save(update_fields=["phone", "imprint", "logo_digest"])
    event.of("workshop", id=workshop.pk, logo=workshop.logo_digest)
    return workshop


@events.rule("masters.set_workshop", facts=sealed, again=as_it_stands(Workshop))
def set_workshop(event: Draft, /, *, key: UUID, facts: Facts, at: datetime, by: User) -> Workshop:
    """Write the workshop's row. Raises BadInput, which names the field that will not do."""
    if not _COUNTRY.fullmatch(str(facts["country"])):
        raise BadInput(_("Two capital letters, such as DE."), field="country")
    if not _CURRENCY.fullmatch(str(facts["currency"])):
        raise BadInput(_("Three capital letters, such as EUR."), field="currency")
    if not str(facts["address"]).strip():
        raise BadInput(_("Customers post their frames here: enter the address."), field="address")
    if (facts.get("label_width_mm") is None) != (facts.get("label_height_mm") is None):
        missing = "label_width_mm" if facts.get("label_width_mm") is None else "label_height_mm"
        raise BadInput(
            _("A label has a width and a height: enter both, or leave both empty."), field=missing
        )
    return entered(event, Workshop.the(), facts)


@events.rule("masters.add_scale", facts=sealed, again=as_it_stands(Scale))
def add_scale(event: Draft, /, *, key: UUID, facts: Facts, at: datetime, by: User) -> Scale:
    """Enter a scale with what its plate says. Raises BadInput for figures that do not fit."""
    if facts["division_mg"] > facts["verification_mg"]:
        raise BadInput(
            _("The division d is not larger than the verification interval e."),
            field="division_mg",
        )
    if facts["minimum_mg"] >= facts["capacity_mg"]:
        raise BadInput(_("Min must be less than Max."), field="minimum_mg")
    return entered(event, Scale(), facts)


@events.rule("masters.add_polymer", facts=sealed, again=as_it_stands(Polymer))
def add_polymer(event: Draft, /, *, key: UUID, facts: Facts, at: datetime, by: User) -> Polymer:
    """Enter a polymer by its symbol in ISO 1043-1. Raises BadInput for what is no symbol."""
    if not _POLYMER.fullmatch(str(facts["code"])):
        raise BadInput(_("Write its symbol in capitals, such as PP or PA11."), field="code")
    return entered(event, Polymer(), facts)


@events.rule(
    "masters.add_colour",
    facts=lambda facts: sealed(coded(facts, CODE_LENGTH_MAX)),
    again=as_it_stands(Colour),
)
def add_colour(event: Draft, /, *, key: UUID, facts: Facts, at: datetime, by: User) -> Colour:
    """Enter a colour; its code is made from its name when none is given."""
    if not _SWATCH.fullmatch(str(facts["swatch"])):
        raise BadInput(_("Write # and six digits, such as #4b5661."), field="swatch")
    return entered(event, Colour(), coded(facts, CODE_LENGTH_MAX))


@dataclass(frozen=True, kw_only=True)
class NewRecipe:
    """A recipe as its maker knows it. Shares and tolerance are parts per million of the mass."""

    shares: tuple[tuple[Colour, int], ...]
    tolerance_ppm: int
    is_marbled: bool

    def facts(self) -> list[Any]:
        """Return what was asked, for the fingerprint."""
        shares = sorted([colour.code, ppm] for colour, ppm in self.shares)
        return [shares, self.tolerance_ppm, self.is_marbled]

    def drawn(self) -> dict[str, Any]:
        """Return what of a blend follows from its recipe: its swatch, its veins, its tolerance."""
        largest_first = sorted(self.shares, key=lambda share: -share[1])
        swatches = [(colour.swatch, ppm) for colour, ppm in largest_first]
        return {
            "tolerance_ppm": self.tolerance_ppm,
            "swatch": swatches[0][0] if self.is_marbled else swatches_mixed(swatches),
            "veins": " ".join(one for one, _ppm in swatches[1:]) if self.is_marbled else "",
        }


@dataclass(frozen=True, kw_only=True)
class NewBlend(NewRecipe):
    """A blend with its first recipe."""

    name: str
    code: str

    def facts(self) -> list[Any]:
        """Return what was asked, for the fingerprint."""
        head = coded({"name": self.name, "code": self.code}, CODE_LENGTH_MAX)
        return [dict(head), *super().facts()]


@events.rule("masters.add_blend", facts=lambda data: data.facts(), again=as_it_stands(Colour))
def add_blend(event: Draft, /, *, key: UUID, data: NewBlend, at: datetime, by: User) -> Colour:
    """Enter a blend with its recipe. Raises BadInput when the shares are not the whole."""
    _refuse_bad_recipe(data)
    facts = {
        **coded({"name": data.name, "code": data.code}, CODE_LENGTH_MAX),
        "kind": Colour.Kind.BLEND,
        **data.drawn(),
    }
    blend = entered(event, Colour(), facts)
    _write_shares(blend, data)
    return blend


@events.rule(
    "masters.change_recipe",
    facts=lambda blend, version, data: [blend.code, version, *data.facts()],
    again=as_it_stands(Colour),
)
def change_recipe(
    event: Draft,
    /,
    *,
    key: UUID,
    blend: Colour,
    version: int,
    data: NewRecipe,
    at: datetime,
    by: User,
) -> Colour:
    """Give a blend a new version of its recipe; `version` is the one that was seen.

    Cards that are made keep the version that they were made by. Raises BadInput for what is no
    blend, or a recipe that will not do, StaleState when it was changed meanwhile.
    """
    if not blend.is_blend:
        raise BadInput(_("Only a blend has a recipe."), field="blend")
    _refuse_bad_recipe(data)
    if blend in [colour for colour, _ppm in data.shares]:
        raise BadInput(_("A blend is not made of itself."), field="shares")
    former = Colour.objects.get(pk=blend.pk)
    rows = Colour.objects.filter(pk=blend.pk, recipe_version=version)
    if rows.update(recipe_version=version + 1, **data.drawn()) != 1:
        raise StaleState()
    FormerRecipe.objects.create(
        blend=blend,
        version=version,
        recipe=[[share.of.code, share.share_ppm] for share in blend.shares.select_related("of")],
        tolerance_ppm=former.tolerance_ppm or 0,
        replaced_at=at,
    )
    blend.shares.all().delete()
    _write_shares(blend, data)
    event.of(blend.code, id=blend.pk, version=version + 1)
    return Colour.objects.get(pk=blend.pk)


def _write_shares(blend: Colour, data: NewRecipe) -> None:
    BlendShare.objects.bulk_create(
        BlendShare(blend=blend, of=colour, share_ppm=ppm) for colour, ppm in data.shares
    )


def _refuse_bad_recipe(data: NewRecipe) -> None:
    colours = [colour.pk for colour, _ppm in data.shares]
    if not 2 <= len(colours) <= SHARES_MAX:
        raise BadInput(_("A recipe has two to eight colours."), field="shares")
    if len(colours) != len(set(colours)):
        raise BadInput(_("Each colour stands in a recipe once."), field="shares")
    if any(ppm < 1 for _colour, ppm in data.shares) or (
        sum(ppm for _colour, ppm in data.shares) != WHOLE_PPM
    ):
        raise BadInput(_("The shares of a recipe add up to 100 %."), field="shares")
    if not 1 <= data.tolerance_ppm <= WHOLE_PPM:
        raise BadInput(_("A tolerance is above 0 and up to 100 %."), field="tolerance")


def swatches_mixed(swatches: Sequence[tuple[str, int]]) -> str:
    """Return roughly the colour of an even mixture: the mean of the squared channels, by share.

    A drawing aid and no prediction: pigments do not mix like light. Common practice, no source.
    """
    whole = sum(ppm for _swatch, ppm in swatches)
    channels = (
        isqrt(sum(int(swatch[at : at + 2], 16) ** 2 * ppm for swatch, ppm in swatches) // whole)
        for at in (1, 3, 5)
    )
    return "#" + "".join(f"{channel:02x}" for channel in channels)


@events.rule(
    "masters.set_admissions",
    facts=lambda into, of: [into.code, sorted(colour.code for colour in of)],
    again=as_it_stands(Colour),
)
def set_admissions(
    event: Draft, /, *, key: UUID, into: Colour, of: Sequence[Colour], at: datetime, by: User
) -> Colour:
    """Say which other colours the boxes of a colour take; what stood there before is replaced.

    Raises BadInput for the box of a blend, which takes that blend only.
    """
    if into.is_blend:
        raise BadInput(_("The box of a blend takes that blend only."), field="into")
    others = {colour.pk: colour for colour in of if colour.pk != into.pk}
    Admission.objects.filter(into=into).exclude(of__in=others).delete()
    Admission.objects.bulk_create(
        (Admission(into=into, of=colour) for colour in others.values()), ignore_conflicts=True
    )
    event.of(f"colour-{into.pk}", id=into.pk, of=sorted(one.code for one in others.values()))
    return into


@events.rule(
    "masters.add_part",
    facts=lambda facts: sealed(coded(facts, CODE_LENGTH_MAX * 2)),
    again=as_it_stands(Part),
)
def add_part(event: Draft, /, *, key: UUID, facts: Facts, at: datetime, by: User) -> Part:
    """Enter a spare part and make its bin."""
    if facts["screw_size"] and not _THREAD.fullmatch(str(facts["screw_size"])):
        raise BadInput(_("Write the thread as on the bag, such as M1.4."), field="screw_size")
    part = entered(event, Part(), coded(facts, CODE_LENGTH_MAX * 2))
    # At once, so that the bin's label can be printed before anything lies in it.
    places.bin_of(part)
    return part


def coded(facts: Facts, length_max: int) -> Facts:
    """Return the facts with a code: the one given, or one made from the name."""
    # The facts are coded before the fingerprint is taken: a repeat that spells the code out is then
    # the same as one that leaves it to the name.
    code = str(facts.get("code") or "") or slugify(str(facts["name"]))[:length_max].strip("-")
    if not code:
        raise BadInput(_("Enter a code of letters and digits for it."), field="code")
    return {**facts, "code": code}


def entered(event: Draft, row: Row, facts: Facts) -> Row:
    """Save one row with the facts in its fields, and say which row the event is of."""
    for field, data in facts.items():
        setattr(row, field, data)
    keep(row)
    event.of(f"{row._meta.model_name}-{row.pk}", id=row.pk, fields=sorted(facts))
    return row


def keep(row: Model) -> None:
    """Save what the row's own checks accept. Raises BadInput, which names the first bad field."""
    try:
        row.full_clean()
    except ValidationError as error:
        field, slips = next(iter(error.message_dict.items()))
        raise BadInput(slips[0], field="" if field == NON_FIELD_ERRORS else field) from error
    row.save()

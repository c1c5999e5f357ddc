"""Partners: adding one, its slips, its link, its box, and the filing that a wearer does by slip."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Final
from uuid import UUID

from django.conf import settings
from django.db.models import Max
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict, StaleState
from inventory.events import Draft
from inventory.ledger.sums.scans import bare
from returns.arriving import rules as arriving
from returns.filing.rules import intake, photos
from returns.filing.rules.intake import Filing, Plan
from returns.letters import rules as letters
from returns.models import Parcel, Partner, PartnerSlip, Request
from returns.story.sums import codes

if TYPE_CHECKING:
    from django.contrib.auth.models import User

NAME_LENGTH_MAX: Final = 100
TOWN_LENGTH_MAX: Final = 80
SHEET_SLIPS: Final = range(1, 41)
BOX_SLIPS_MAX: Final = 60


def _subject(partner: Partner) -> str:
    return f"partner-{partner.pk}"


def _again(partner: Partner) -> Partner:
    return Partner.objects.get(pk=partner.pk)


@events.rule(
    "partners.add",
    facts=lambda name, town: [name.strip(), town.strip()],
    again=lambda event: Partner.objects.get(pk=int(event.subject.rpartition("-")[2])),
)
def add(event: Draft, /, *, key: UUID, name: str, town: str, at: datetime, by: User) -> Partner:
    """Enter a shop that takes frames in. Its link is made with it.

    Raises:
        BadInput: no name, one too long, or one that another partner has.
    """
    tidy = {"name": " ".join(name.split()), "town": " ".join(town.split())}
    for field, room in (("name", NAME_LENGTH_MAX), ("town", TOWN_LENGTH_MAX)):
        if len(tidy[field]) > room or not tidy[field].replace(" ", "x").isprintable():
            raise BadInput(
                _("At most %(room)s characters of plain text.") % {"room": room}, field=field
            )
    if not tidy["name"]:
        raise BadInput(_("Enter the shop's name."), field="name")
    if Partner.objects.filter(name__iexact=tidy["name"]).exists():
        raise BadInput(_("A partner of this name is there already."), field="name")
    partner = Partner.objects.create(**tidy, **intake.new_link(), added_at=at)
    event.of(_subject(partner))
    return partner


@events.rule("partners.renew_link", facts=lambda partner: ["link", partner.pk], again=_again)
def renew_link(event: Draft, /, *, key: UUID, partner: Partner, at: datetime, by: User) -> Partner:
    """Give a partner another link; the one before opens nothing from now on. Opens a closed one."""
    Partner.objects.filter(pk=partner.pk).update(**intake.new_link(), closed_at=None)
    event.of(_subject(partner))
    return _again(partner)


@events.rule("partners.close", facts=lambda partner: ["close", partner.pk], again=_again)
def close(event: Draft, /, *, key: UUID, partner: Partner, at: datetime, by: User) -> Partner:
    """Revoke a partner's link. Slips that wearers hold stay good, for their frames are on the way.

    Raises:
        StaleState: it is closed already.
    """
    if Partner.objects.filter(pk=partner.pk, closed_at=None).update(closed_at=at) != 1:
        raise StaleState(_("This partner's link is revoked already."))
    event.of(_subject(partner))
    return _again(partner)


def page_link(partner: Partner) -> str:
    """Return the address of the partner's page; empty while it is closed or its key is gone."""
    if partner.closed_at is not None:
        return ""
    try:
        secret = intake.link_secret(partner)
    except Conflict:
        return ""
    return f"{settings.BASE_URL}{reverse('partner', args=[secret])}"


@events.rule(
    "partners.print_sheet",
    facts=lambda partner, count: [partner.pk, count],
    again=lambda event: int(event.detail["sheet"]),
)
def print_sheet(
    event: Draft, /, *, key: UUID, partner: Partner, count: int, at: datetime, by: User
) -> int:
    """Make the slips of one more sheet and return its number.

    Raises:
        BadInput: none, or more than fit.
        StaleState: the partner is closed.
    """
    if count not in SHEET_SLIPS:
        raise BadInput(
            _("From 1 to %(most)s slips at a time.") % {"most": SHEET_SLIPS[-1]}, field="count"
        )
    # Locked, so that of two sheets at once each has its own number.
    found = Partner.objects.select_for_update().get(pk=partner.pk)
    if found.closed_at is not None:
        raise StaleState(_("This partner's link is revoked. Give it a new one first."))
    last = found.slips.aggregate(last=Max("sheet"))["last"] or 0
    for _number in range(count):
        PartnerSlip.objects.create(
            partner=found,
            sheet=last + 1,
            code=intake.fresh_reference(),
            made_at=at,
            **intake.new_link(),
        )
    event.of(_subject(partner), sheet=last + 1, count=count)
    return last + 1


def file(
    *,
    key: UUID,
    slip: PartnerSlip,
    filing: Filing,
    at: datetime,
    pictures: Sequence[photos.Picture] = (),
) -> Request:
    """File frames under a partner's slip, which may be done once, before or after they arrive.

    Raises:
        BadInput: a field will not do; `field` names it.
        StaleState: the slip has been used.
        KeyReused: the key was used for another filing.
    """
    return intake.once(
        lambda: _file(
            key=key, slip=slip, plan=intake.planned(key, filing), pictures=pictures, at=at
        )
    )


@events.rule(
    "partners.file",
    facts=lambda slip, plan: [slip.code, *plan.facts],
    again=lambda key: Request.objects.get(key=key),
    aside=["pictures"],
)
def _file(
    event: Draft,
    /,
    *,
    key: UUID,
    slip: PartnerSlip,
    plan: Plan,
    pictures: Sequence[photos.Picture],
    at: datetime,
) -> Request:
    # Locked: of two who file with one slip, the slower finds it used.
    held = PartnerSlip.objects.select_for_update().get(pk=slip.pk)
    if held.request_id is not None:
        raise StaleState(_("Something has been filed with this slip already. Ask for another one."))
    request = intake.write_return(plan, at=at, reference=held.code)
    PartnerSlip.objects.filter(pk=held.pk).update(request=request)
    photos.keep(request=request, pictures=pictures, at=at)
    if held.parcel_id is not None:
        arriving.join_slip(request=request, slip=held, at=at)
    event.of(request.reference, partner=_subject(held.partner))
    letters.enqueue(letter="filed", request=request, at=at)
    return Request.objects.get(pk=request.pk)


@events.rule(
    "partners.book_box",
    facts=lambda scans: [sorted({bare(one).upper() for one in scans})],
    again=lambda key: Parcel.objects.get(key=key),
)
def book_box(event: Draft, /, *, key: UUID, scans: Sequence[str], at: datetime, by: User) -> Parcel:
    """Book one box with the slips of many owners in it, all of one partner. Not filed is fine.

    Raises:
        BadInput: nothing was scanned or too much; or a code is no slip, is of another partner, or
            came in an earlier box. Each is named.
    """
    slips = _slips(scans)
    parcel = arriving.book_box(key=key, slips=slips, at=at)
    event.of(parcel.code, partner=_subject(slips[0].partner), slips=[one.code for one in slips])
    return parcel


def _slips(scans: Sequence[str]) -> list[PartnerSlip]:
    wanted = list(dict.fromkeys(_code(one) for one in scans))
    if not 0 < len(wanted) <= BOX_SLIPS_MAX:
        raise BadInput(
            _("Scan the slips of one box, up to %(most)s.") % {"most": BOX_SLIPS_MAX}, field="scans"
        )
    rows = PartnerSlip.objects.select_for_update(of=("self",)).select_related("partner", "parcel")
    found = {one.code: one for one in rows.filter(code__in=wanted).order_by("pk")}
    for code in wanted:
        _refuse_unfit(code, found.get(code), found.get(wanted[0]))
    return [found[code] for code in wanted]


def _code(scan: str) -> str:
    try:
        return codes.normalise(bare(scan), prefix="Q")
    except codes.BadCode as error:
        raise BadInput(
            _("“%(scan)s” is no slip's code. Scan it again, or take the line out.")
            % {"scan": scan[:40]},
            field="scans",
        ) from error


def _refuse_unfit(code: str, slip: PartnerSlip | None, first: PartnerSlip | None) -> None:
    if slip is None or first is None:
        raise BadInput(
            _("%(code)s is no partner's slip. Take it out here, and book it as a parcel by itself.")
            % {"code": code},
            field="scans",
        )
    if slip.partner_id != first.partner_id:
        raise BadInput(
            _("%(code)s is of %(other)s, the box of %(partner)s. Book the two boxes one by one.")
            % {"code": code, "other": slip.partner, "partner": first.partner},
            field="scans",
        )
    if slip.parcel is not None:
        raise BadInput(
            _("%(code)s came before, in %(parcel)s. Was it scanned by mistake?")
            % {"code": code, "parcel": slip.parcel.code},
            field="scans",
        )

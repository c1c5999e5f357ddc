"""Labels as PDF: tags for frames and parcels, boxes and lots, addresses, and a calibration print.

Nothing is fetched while a label is drawn: the QR code is a drawing inside the document, and every
other address is refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from django.conf import settings
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from inventory import clock
from inventory.errors import BadInput
from inventory.ledger.queries import naming
from inventory.masters import queries as practice
from inventory.models import Lot, Part, Place, Workshop
from returns.models import Dispatch, Parcel, Person, ReturnedFrame
from returns.models.filing import Wish

# A4 with a margin that every office printer keeps.
SHEET_MM: Final = (210, 297)
SHEET_MARGIN_MM: Final = 8
LABELS_MAX: Final = 200
LABEL_MM_MIN: Final = 15
# What is cut out with scissors needs no maker's size: the printable area, divided evenly.
CUT_OUT_COLUMNS: Final = 3
CUT_OUT_ROWS: Final = 8
_QUIET_MODULES: Final = 2

Drawn = TypeVar("Drawn")


@dataclass(frozen=True, slots=True)
class Label:
    """One label: the code in large type, its QR code, and up to three small lines.

    `mark` stands large between them: what must not be overlooked while the thing is in the hand.
    """

    code: str
    lines: tuple[str, ...] = ()
    path: str = ""
    mark: str = ""

    @property
    def qr_svg(self) -> str:
        """The QR code, as SVG, of the link that a phone's camera opens."""
        import segno

        # The public address from the settings, not the request's: a label outlives the name it was
        # printed under.
        link = f"{settings.BASE_URL}/go/{self.path or self.code}/"
        drawn: str = segno.make(link, error="m", micro=False).svg_inline(
            # Without a size of its own: the style sheet gives it one in mm, which the printer
            # keeps.
            border=_QUIET_MODULES,
            scale=1,
            omitsize=True,
            svgclass="qr",
            lineclass=None,
        )
        return drawn


def of_frame(frame: ReturnedFrame) -> Label:
    """Make the tag that stays on a frame. No personal data: a tag can be read by anybody."""
    what = str(frame.colourway) if frame.colourway else _("model not known")
    code = frame.partner_slip.code if frame.partner_slip else _("no slip")
    reference = frame.request.reference if frame.request else code
    day = _("by %(day)s") % {"day": frame.promised_by.isoformat()}
    # On a small label the last line may not be seen: the tag itself leads to the reference.
    return Label(frame.tag, (what, day, reference), mark=_mark(frame))


def _mark(frame: ReturnedFrame) -> str:
    """Say what the customer wants: the lenses, and what becomes of a frame past mending."""
    wishes = {Wish.REGRIND: _("else grind"), Wish.POST_BACK: _("else back as it is")}
    wish = wishes.get(Wish(frame.wish)) if frame.wish else _("wish not known")
    return " · ".join(filter(None, (_("lenses back") if frame.lenses_back else "", wish)))


def of_parcel(parcel: Parcel) -> Label:
    """Make the label of a parcel that waits to be opened."""
    reference = parcel.request.reference if parcel.request else _("no slip")
    return Label(parcel.code, (_("Parcel"), reference, clock.day_of(parcel.arrived_at).isoformat()))


def of_box(place: Place) -> Label:
    """Make the label of a regrind box: its material in words and codes."""
    polymer = place.polymer.code if place.polymer else ""
    colour = place.colour.name if place.colour else ""
    return Label(f"{polymer} · {colour}", (place.get_origin_display(), place.code), place.code)


def of_lot(lot: Lot) -> Label:
    """Make the label of a flake lot."""
    words = f"{lot.polymer.code} · {lot.colour.name}"
    return Label(lot.code, (words, lot.get_origin_display(), clock.day_of(lot.made_at).isoformat()))


def of_bin(part: Part) -> Label:
    """Make the label of a part's bin: the name people know, and the code that its scan proves."""
    code = naming.bin_code(part.code)
    return Label(part.name, (part.screw_size or _("Part"), code), code)


def labels_pdf(labels: Sequence[Label]) -> bytes:
    """Draw a page per label, of the workshop's label size; on A4 sheets until a size is known."""
    if Workshop.the().label_size_mm is None:
        return sheet_pdf(labels)
    facts = {"labels": _bounded(labels), "size": _size()}
    return _pdf("returns/bench/labels/single.html", facts)


def sheet_pdf(labels: Sequence[Label]) -> bytes:
    """Draw the labels in rows on sheets of A4, to be cut out."""
    facts = {"pages": _pages(_bounded(labels)), "size": _size(), "margin": SHEET_MARGIN_MM}
    return _pdf("returns/bench/labels/sheet.html", facts)


def calibration_pdf() -> bytes:
    """Draw a frame and two rulers of known length, to see whether the printer keeps the scale."""
    sample = Label("F-0000-0000", (_("Sample: no frame has this code"),))
    facts = {"size": _size(), "label": sample, "ruler_mm": range(0, 51, 10)}
    return _pdf("returns/bench/labels/calibration.html", facts)


def test_pdf(code: str) -> bytes:
    """Draw one label with a ruler along its foot, its own edge, and a code to scan back."""
    size, workshop = _size(), Workshop.the()
    words = _("%(width)s × %(height)s mm") % {"width": size["width"], "height": size["height"]}
    rule_mm = (size["width"] - 4) // 10 * 10
    facts = {
        "size": size,
        "label": Label(_("Test label"), (words,), code),
        "on_sheet": workshop.label_size_mm is None,
        "rule": rule_mm,
        # Above the ruler there is that much room for the code.
        "qr": min(size["qr"], size["height"] - 9),
        "ticks": [(mm, _tick(mm), mm % 10 == 0) for mm in range(rule_mm + 1)],
    }
    return _pdf("returns/bench/labels/test.html", facts)


def _tick(mm: int) -> str:
    return "3mm" if mm % 10 == 0 else "2mm" if mm % 5 == 0 else "1.2mm"


def address_pdf(dispatch: Dispatch) -> bytes:
    """Draw the address label of a dispatch, the workshop as sender; on A4 like the other labels.

    Raises BadInput when nobody's address is known, or when it was erased.
    """
    workshop = Workshop.the()
    if workshop.label_size_mm is None:
        return addresses_pdf([dispatch])
    facts = {
        "size": _size(),
        "sender": _sender(workshop),
        "one": _addressed(dispatch, workshop),
    }
    return _pdf("returns/bench/labels/address.html", facts)


def addresses_pdf(dispatches: Sequence[Dispatch]) -> bytes:
    """Draw the address labels of many dispatches in rows on sheets of A4, to be cut out."""
    workshop = Workshop.the()
    facts = {
        "size": _size(),
        "sender": _sender(workshop),
        "pages": _pages([_addressed(one, workshop) for one in _bounded(dispatches)]),
        "margin": SHEET_MARGIN_MM,
    }
    return _pdf("returns/bench/labels/addresses.html", facts)


def _addressed(dispatch: Dispatch, workshop: Workshop) -> dict[str, Any]:
    person = receiver(dispatch)
    if person is None:
        raise BadInput(
            _("There is no address for this dispatch. Ask the owner what to do with it.")
        )
    return {"lines": address_lines(person, workshop), "code": dispatch.code}


def _sender(workshop: Workshop) -> list[str]:
    return [workshop.name, *workshop.address.splitlines()]


def address_lines(person: Person, workshop: Workshop) -> list[str]:
    """Return the lines of a postal address; a foreign country stands last, in capitals.

    Source: the country's name in capitals on the last line is common practice in the post.
    """
    lines = person.address_lines()
    if person.country and person.country.upper() != workshop.country.upper():
        lines.append(_country_name(person.country.upper()))
    return lines


def _country_name(code: str) -> str:
    """Return the name a sorter reads abroad; the code itself for one that is not listed."""
    return COUNTRY_NAMES.get(code, code)


# Short English names, ISO 3166-1 (from memory): the post of every country reads them.
COUNTRY_NAMES: Final = {
    "AT": "AUSTRIA",
    "BE": "BELGIUM",
    "BG": "BULGARIA",
    "CH": "SWITZERLAND",
    "CY": "CYPRUS",
    "CZ": "CZECHIA",
    "DE": "GERMANY",
    "DK": "DENMARK",
    "EE": "ESTONIA",
    "ES": "SPAIN",
    "FI": "FINLAND",
    "FR": "FRANCE",
    "GB": "UNITED KINGDOM",
    "GR": "GREECE",
    "HR": "CROATIA",
    "HU": "HUNGARY",
    "IE": "IRELAND",
    "IS": "ICELAND",
    "IT": "ITALY",
    "LI": "LIECHTENSTEIN",
    "LT": "LITHUANIA",
    "LU": "LUXEMBOURG",
    "LV": "LATVIA",
    "MT": "MALTA",
    "NL": "NETHERLANDS",
    "NO": "NORWAY",
    "PL": "POLAND",
    "PT": "PORTUGAL",
    "RO": "ROMANIA",
    "SE": "SWEDEN",
    "SI": "SLOVENIA",
    "SK": "SLOVAKIA",
    "US": "UNITED STATES OF AMERICA",
}


def receiver(dispatch: Dispatch) -> Person | None:
    """Return whom a dispatch goes to; None when no address is known, or it was erased."""
    request = dispatch.request or (dispatch.frame.request if dispatch.frame else None)
    person = request.person if request else None
    if person is None or person.erased_at is not None or not person.address_lines():
        return None
    return person


def _size() -> dict[str, int]:
    """Return the label's size in mm: as typed, or an even part of a sheet until it is.

    A size too small to carry a readable code is refused.
    """
    across, down = (side - 2 * SHEET_MARGIN_MM for side in SHEET_MM)
    cut_out = across // CUT_OUT_COLUMNS, down // CUT_OUT_ROWS
    width, height = Workshop.the().label_size_mm or cut_out
    fits = width <= across and height <= down
    if min(width, height) < LABEL_MM_MIN or not fits:
        raise BadInput(
            _("The label size of the workshop cannot be printed. Ask the owner to set it.")
        )
    # Whole millimetres, and a margin kept: a cutter is less exact than a printer.
    qr = min(height - 3, width * 4 // 10)
    return {"width": width, "height": height, "qr": qr, "text": width - qr - 4}


def _bounded(labels: Sequence[Drawn]) -> Sequence[Drawn]:
    if not 1 <= len(labels) <= LABELS_MAX:
        raise BadInput(_("Print 1 to %(max)s labels at a time.") % {"max": LABELS_MAX})
    return labels


def _pages(labels: Sequence[Drawn]) -> list[list[Drawn]]:
    size = _size()
    columns = (SHEET_MM[0] - 2 * SHEET_MARGIN_MM) // size["width"]
    rows = (SHEET_MM[1] - 2 * SHEET_MARGIN_MM) // size["height"]
    per_page = columns * rows
    return [list(labels[at : at + per_page]) for at in range(0, len(labels), per_page)]


def _pdf(template: str, facts: dict[str, Any]) -> bytes:
    """Draw one document. Any address in it stops the drawing."""
    import weasyprint
    from weasyprint.urls import FatalURLFetchingError, URLFetcher

    # Names on a label come from people. A fetcher that refuses keeps a file or an address in one of
    # them from being read into the document.
    class Refusing(URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: dict[str, str] | None = None) -> Any:
            del headers
            raise FatalURLFetchingError(f"a label fetches nothing, not even {url[:60]}")

    fetcher = Refusing(allowed_protocols=(), allow_redirects=False, fail_on_errors=True)
    words = render_to_string(template, {**facts, "is_practice": practice.is_on()})
    html = weasyprint.HTML(string=words, url_fetcher=fetcher)
    try:
        drawn: bytes = html.write_pdf()
    except FatalURLFetchingError as error:  # not an Exception: the framework would not catch it
        raise BadInput(_("This label cannot be drawn: it points at another file.")) from error
    return drawn

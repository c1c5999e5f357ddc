"""Scanner and label printer: what a test scan brought, and a label to measure and scan back."""

from __future__ import annotations

import re
from typing import Any, Final

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.functional import Promise
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.frame import roles
from inventory.ledger.sums.scans import TYPED_LENGTH_MAX, bare
from inventory.models import Workshop
from inventory.staff.queries import BENCH, OWNER
from returns.bench.pages import labels
from returns.bench.pages.labelling import printed
from returns.devices import sums
from returns.devices.sums import Keyboard, Slip
from returns.story.sums import codes

# Signs that stand elsewhere on other keyboards, and every digit.
TEST_CODE: Final = "test-yzqwam-0123456789"
_READABLE: Final = re.compile(r"(box|bin|lot|shelf)-\S+", re.IGNORECASE)
_MS_LENGTH_MAX: Final = 6

KEYBOARDS: dict[Keyboard, str | Promise] = {
    Keyboard.US: _("a US one"),
    Keyboard.UK: _("a British one"),
    Keyboard.GERMAN: _("a German one"),
    Keyboard.FRENCH: _("a French one"),
}
ADVICE: dict[Slip, str | Promise] = {
    Slip.CAPITALS: _(
        "Capitals and small letters are swapped. Switch Caps Lock off and scan again."
    ),
    Slip.MISSING: _(
        "Signs are missing. Set the scanner to pause longer between keys, and scan again."
    ),
    Slip.SLOW: _(
        "It types as slowly as a hand: the pages would not know it as a scan. Set the scanner to "
        "pause at most 40 ms between keys."
    ),
    Slip.NO_ENTER: _(
        "It does not end with Enter. Set the scanner to send Enter (its manual may say CR or "
        "carriage return) after each code."
    ),
    Slip.FOREIGN: _("This is no code of ours. Scan the test label, or any label printed here."),
}
ENDS: dict[str, str | Promise] = {
    "enter": _("the Enter key"),
    "tab": _("the Tab key"),
    "none": _("none"),
}


@require_safe
@allow(BENCH, OWNER)
def page(request: StaffRequest) -> HttpResponse:
    """Show the test field, and what the last scan into it brought. Nothing is kept."""
    # PostgreSQL is not asked here, but a page shows no control signs.
    arrived = request.GET.get("arrived", "").replace("\0", "")[:TYPED_LENGTH_MAX]
    facts: dict[str, Any] = {
        "arrived": arrived,
        "size": Workshop.the(),
        "may_set_size": OWNER in roles(request),
        "length_max": TYPED_LENGTH_MAX,
    }
    if arrived.strip():
        facts["result"] = _result(request, arrived)
    return render(request, "returns/devices/devices.html", facts)


@require_safe
@allow(BENCH, OWNER)
def test_label(request: StaffRequest) -> HttpResponse:
    """Send a label of the size that is set, with a ruler and a code to scan back."""
    if request.GET.get("sheet"):
        return printed(request, [labels.Label(_t("Test label"), (), TEST_CODE)], "test-label")
    answer = HttpResponse(labels.test_pdf(TEST_CODE), content_type="application/pdf")
    answer.headers["Content-Disposition"] = 'inline; filename="test-label.pdf"'
    return answer


def _result(request: StaffRequest, arrived: str) -> dict[str, Any]:
    key_ms, end = _milliseconds(request.GET.get("key_ms", "")), request.GET.get("end", "")
    link = f"{settings.BASE_URL}/go/{TEST_CODE}/"
    reading = sums.read(arrived, test=link, is_ours=is_ours, key_ms=key_ms, end=end)
    is_test = reading.meant == link
    return {
        "is_good": not reading.slips,
        "code": _t("the test label") if is_test else bare(reading.meant),
        "is_foreign": Slip.FOREIGN in reading.slips,
        "key_ms": key_ms,
        "end": ENDS.get(end, ""),
        "advice": [_advice(slip, reading) for slip in reading.slips],
        # A label without the signs that keyboards put elsewhere proves nothing about them.
        "proves_keyboard": is_test,
    }


def _advice(slip: Slip, reading: sums.Reading) -> str:
    if slip is not Slip.KEYBOARD or reading.scanner is None or reading.computer is None:
        return str(ADVICE[slip])
    return _t(
        "The scanner types as on %(scanner)s, and this computer's keyboard is %(computer)s. Set "
        "the scanner's keyboard country to that of the computer; its manual has a code to scan "
        "for it. Then scan again."
    ) % {"scanner": KEYBOARDS[reading.scanner], "computer": KEYBOARDS[reading.computer]}


def is_ours(text: str) -> bool:
    """Tell whether a text is a code that is printed here, or the link to one."""
    code = bare(text)
    if _READABLE.fullmatch(code):
        return True
    try:
        codes.normalise(code)
    except codes.BadCode:
        return False
    return True


def _milliseconds(typed: str) -> int | None:
    fits = typed.isascii() and typed.isdigit() and len(typed) <= _MS_LENGTH_MAX
    return int(typed) if fits else None

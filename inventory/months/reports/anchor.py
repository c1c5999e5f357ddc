"""The head of the chain outside of the house: on paper with a code to scan, and by mail at a close.

Whoever rewrites all and closes anew has books that are sound. What was kept elsewhere shows it.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMessage
from django.utils import translation
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from inventory.models import Month, OutboxMessage, Workshop

TOPIC = "anchor"


def text(month: Month) -> str:
    """Return what is to be kept of a close, in one line of plain words and digests."""
    told = f"{month.label} month {month.digest}"
    # A month that was closed before there was a chain has none to tell.
    position, digest = month.figures.get("chain", [0, ""])
    return f"{told} link {position} {digest}" if position else told


def picture(month: Month) -> SafeString:
    """Return the same as a QR code, as SVG inside a page."""
    drawn: str = _code(month).svg_inline(scale=2, border=4)
    return mark_safe(drawn)


def picture_data(month: Month) -> str:
    """Return the same as an address of data, for paper: a picture with words instead."""
    data: str = _code(month).svg_data_uri(scale=2, border=4, encode_minimal=False)
    return data


def _code(month: Month) -> Any:
    # Only where one is drawn: few pages are.
    import segno

    return segno.make(text(month), error="m", micro=False)


class NotPosted(Exception):
    """The mail server refused or is away; named by the class of the refusal, without an address."""


def send(queued: OutboxMessage) -> None:
    """Mail the digests of a close to the address that the operator chose; none, and none is sent.

    Raises:
        NotPosted: the outbox tries again.
    """
    month = Month.objects.filter(label=queued.payload["month"]).first()
    if month is None or not settings.ANCHOR_EMAIL:
        return
    try:
        _message(queued, month).send()
    except (OSError, ValueError) as error:
        # `from None` as well: the outbox keeps an error's text, and a server's answer has the
        # address in it.
        raise NotPosted(type(error).__name__) from None


def _message(queued: OutboxMessage, month: Month) -> EmailMessage:
    host = urlsplit(settings.BASE_URL).hostname or "localhost"
    with translation.override(settings.LANGUAGE_CODE):
        workshop = Workshop.the()
        subject = _("%(workshop)s: the close of %(month)s, to be kept")
        if workshop.demo:
            subject = _("Practice: %(subject)s") % {"subject": subject}
        return EmailMessage(
            subject=subject % {"workshop": workshop.name, "month": month.label},
            body=_(
                "Keep this message where nobody who works with the books can change it. Should the "
                "books ever be in doubt, these digests must be the ones on the month's page and in "
                "its evidence pack:"
            )
            + f"\n\n{text(month)}\n",
            from_email=settings.DEFAULT_FROM_EMAIL,
            to=[settings.ANCHOR_EMAIL],
            # The same at each try, so that a second copy is seen to be one.
            headers={"Message-ID": f"<{queued.pk}@{host}>", "Auto-Submitted": "auto-generated"},
        )

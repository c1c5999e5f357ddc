"""The scan as proof for a frame: its own tag is in the hand, or it is refused by name."""

from __future__ import annotations

from django.utils.translation import gettext as _

from inventory.errors import BadInput
from inventory.ledger.queries import scanned as labels
from inventory.ledger.rules import scans
from inventory.ledger.sums.scans import meant
from returns.models import ReturnedFrame


def require(scanned: str, frame: ReturnedFrame, *, field: str = "scanned") -> None:
    """Require that the tag of this frame was scanned or typed.

    Raises WrongScan for any other label, BadInput when nothing was scanned.
    """
    if not scanned.strip():
        raise BadInput(
            _("Scan the tag, or type its code: %(wanted)s.") % {"wanted": words(frame)}, field=field
        )
    tag = meant(scanned)
    if tag == frame.tag:
        return
    # The refusal names what is in the hand, so that nobody has to guess which of two tags was read.
    other = ReturnedFrame.objects.filter(tag=tag).first()
    raise scans.wrong(words(other) if other else labels.named(scanned), [words(frame)], field)


def words(frame: ReturnedFrame) -> str:
    """Name a frame by its tag, model and colour."""
    known = str(frame.colourway) if frame.colourway else _("model not known")
    return _("frame %(tag)s, %(model)s") % {"tag": frame.tag, "model": known}

"""Codes in addresses and bodies of this room: tags, references, colourways. Never database ids."""

from __future__ import annotations

from typing import Any, TypeVar

from django.db.models import Model, QuerySet

from inventory.errors import NotFound
from inventory.furniture.api.shapes import KnownCode, found
from inventory.ledger.sums.codes import BadCode, normalise
from returns.models import Colourway, Parcel, PartnerSlip, Request, ReturnedFrame


class ColourwayCode(KnownCode):
    """Model and colour, such as "avocet/slate", and the variant where there is one."""

    def __init__(self, **options: Any) -> None:
        options.setdefault(
            "help_text", "Model and colour, such as avocet/slate, or model, colour and variant."
        )
        super().__init__(Colourway.objects.all, by="code", **options)

    def run_validation(self, data: Any = None) -> Any:
        # Past the parent on purpose: it would look the text up as one code, and here it is more.
        text = super(KnownCode, self).run_validation(data)
        if not text:
            return None
        model, _slash, look = text.partition("/")
        colour, _slash, variant = look.partition("/")
        rows = Colourway.objects.select_related("model", "colour", "polymer")
        row = rows.filter(model__code=model, colour__code=colour, variant=variant).first()
        if row is None:
            self.fail("unknown", text=text)
        return row

    def to_representation(self, value: Any) -> str:
        return colourway_code(value)


class Spoken(KnownCode):
    """A code with a check character, in any of the ways that people type it."""

    def __init__(self, rows: Any, *, prefix: str, by: str, **options: Any) -> None:
        self.prefix = prefix
        super().__init__(rows, by=by, **options)

    def read(self, text: str) -> str:
        try:
            return normalise(text, prefix=self.prefix)
        except BadCode:
            self.fail("unknown", text=text)


class RequestReference(Spoken):
    def __init__(self, **options: Any) -> None:
        super().__init__(Request.objects.all, prefix="Q", by="reference", **options)


class FrameTag(Spoken):
    def __init__(self, **options: Any) -> None:
        super().__init__(ReturnedFrame.objects.all, prefix="F", by="tag", **options)


class SlipCode(Spoken):
    """The code of a drop-off partner's slip."""

    def __init__(self, **options: Any) -> None:
        super().__init__(PartnerSlip.objects.all, prefix="Q", by="code", **options)


RowT = TypeVar("RowT", bound=Model)


def colourway_code(colourway: Colourway) -> str:
    code = f"{colourway.model.code}/{colourway.colour.code}"
    return f"{code}/{colourway.variant}" if colourway.variant else code


def request_at(reference: str, rows: QuerySet[Request] | None = None) -> Request:
    return _spoken(Request.objects.all() if rows is None else rows, "Q", reference=reference)


def frame_at(tag: str, rows: QuerySet[ReturnedFrame] | None = None) -> ReturnedFrame:
    return _spoken(ReturnedFrame.objects.all() if rows is None else rows, "F", tag=tag)


def parcel_at(code: str, rows: QuerySet[Parcel] | None = None) -> Parcel:
    return _spoken(Parcel.objects.all() if rows is None else rows, "P", code=code)


def _spoken(rows: QuerySet[RowT], prefix: str, **by: str) -> RowT:
    (name, text), *_rest = by.items()
    try:
        row: RowT = found(rows, **{name: normalise(text, prefix=prefix)})
        return row
    except BadCode as error:
        raise NotFound() from error

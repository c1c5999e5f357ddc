"""What each movement of the ledger is in the words of GS1 EPCIS 2.0 and CBV 2.0: one row a kind.

Business steps and dispositions are those of the Core Business Vocabulary (read in its ontology
file, CBV.ttl) where it has one that fits; `OWN` before a word marks one of ours. A kind without a
row cannot be told, so the table has no default.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

OWN: Final = "own:"
"""Before a word that the vocabulary does not have."""


class Type(StrEnum):
    """Event types of EPCIS 2.0 that this house tells."""

    OBJECT = "ObjectEvent"
    AGGREGATION = "AggregationEvent"
    TRANSFORMATION = "TransformationEvent"
    ASSOCIATION = "AssociationEvent"


class Names(StrEnum):
    """What an event is told of."""

    FRAME = "frame"
    """The one thing that the movement is about."""
    CLASS_OF_SUBJECT = "class of subject"
    """A mass or a count of what the movement is about: a load of goods, a batch."""
    CLASS_OF_STOCK = "class of stock"
    """A mass or a count of what lies in the box, lot, bin or heap that it touches."""
    INTO_SUBJECT = "into subject"
    """One of several movements and moments that made the subject; they share its identifier."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A row of the table.

    `action` is ADD, OBSERVE or DELETE; "" where the type has none; `BY_SIDE` where what comes into
    the house's stock is an ADD and what leaves it a DELETE.
    """

    type: Type
    names: Names
    biz_step: str
    disposition: str
    action: str


BY_SIDE: Final = "by side"


def _object(names: Names, action: str, biz_step: str, disposition: str) -> Step:
    return Step(
        type=Type.OBJECT, names=names, action=action, biz_step=biz_step, disposition=disposition
    )


def _transformation(names: Names, biz_step: str) -> Step:
    return Step(type=Type.TRANSFORMATION, names=names, action="", biz_step=biz_step, disposition="")


STEPS: Final[Mapping[str, Step]] = {
    # The tag is put on at the scale: the first event that knows the frame by it.
    "weigh_in": _object(Names.FRAME, "ADD", "receiving", "returned"),
    "join_part": _object(Names.FRAME, "OBSERVE", "receiving", "returned"),
    "carry": _object(Names.FRAME, "OBSERVE", "storing", "in_progress"),
    "fit_part": Step(
        type=Type.ASSOCIATION,
        names=Names.FRAME,
        action=BY_SIDE,
        biz_step="replacing",
        disposition="in_progress",
    ),
    "post_frame": _object(Names.FRAME, "OBSERVE", "shipping", "in_transit"),
    # `disassembling` gives identified parts; here masses come out: a transformation.
    "strip_down": _transformation(Names.FRAME, "disassembling"),
    "receive_parts": _object(Names.CLASS_OF_STOCK, "ADD", "receiving", "available"),
    "post_kit": _object(Names.CLASS_OF_STOCK, "OBSERVE", "shipping", "in_transit"),
    # `stock_taking` is the count by set rules for accounting.
    "count_parts": _object(Names.CLASS_OF_STOCK, BY_SIDE, "stock_taking", ""),
    "receive_feedstock": _object(Names.CLASS_OF_STOCK, "ADD", "receiving", "available"),
    "receive_goods": _object(Names.CLASS_OF_SUBJECT, "ADD", "receiving", "in_progress"),
    "sort_goods": _transformation(Names.CLASS_OF_SUBJECT, f"{OWN}sorting"),
    "pick_out": _transformation(Names.CLASS_OF_STOCK, f"{OWN}sorting"),
    "pass_on": _object(Names.CLASS_OF_STOCK, "DELETE", "departing", ""),
    "return_scrap": _object(Names.CLASS_OF_STOCK, "ADD", "collecting", "in_progress"),
    "press_purge": _object(Names.CLASS_OF_STOCK, "ADD", "collecting", "in_progress"),
    # Not `commissioning`: a lot may be topped up by a second run.
    "grind": _transformation(Names.CLASS_OF_STOCK, "creating_class_instance"),
    "issue": _transformation(Names.INTO_SUBJECT, "creating_class_instance"),
    "count_mass": _object(Names.CLASS_OF_STOCK, BY_SIDE, "stock_taking", ""),
    "opening": _object(Names.CLASS_OF_STOCK, "ADD", "stock_taking", "available"),
    "dispose": _object(Names.CLASS_OF_STOCK, "DELETE", "collecting", "disposed"),
}
"""By kind of movement."""

TOLD: Final[Mapping[str, Step]] = {
    "arrivals.book": _object(Names.FRAME, "OBSERVE", "arriving", "returned"),
    "arrivals.finish": Step(
        type=Type.AGGREGATION,
        names=Names.FRAME,
        action="DELETE",
        biz_step="unpacking",
        disposition="returned",
    ),
    "lookover.grade": _object(Names.FRAME, "OBSERVE", "inspecting", "damaged"),
    "lookover.overrule": _object(Names.FRAME, "OBSERVE", "inspecting", "damaged"),
    "mending.do_step": _object(Names.FRAME, "OBSERVE", "repairing", "in_progress"),
    # After a check the disposition is what the check found.
    "mending.check": _object(Names.FRAME, "OBSERVE", "inspecting", "conformant"),
    "posting_out.post_lenses": _object(Names.CLASS_OF_STOCK, "OBSERVE", "shipping", "in_transit"),
    "batches.mould": _transformation(Names.INTO_SUBJECT, "creating_class_instance"),
}
"""By event of the history: the physical steps that move no mass in the ledger."""

OWN_WORDS: Final[Mapping[str, str]] = {
    "sorting": "Business step: material is taken apart by kind, such as film, metal, dirt.",
    "place": "Where it happened: the name of a shelf, a heap or the world outside.",
    "class": "What a mass is of, where no box or lot names it: dust, lenses, metal, unexplained.",
    "scale": "The device of a weighing.",
    "movement": "The number of the entry in the workshop's ledger that the event was derived from.",
    "decided": "What a look-over decided: to be mended, to be ground, or to wait.",
    "meanHeatPasses": "How many times the material has been through the melt, its mean by mass.",
}
"""What our own words mean, for whoever receives an event."""

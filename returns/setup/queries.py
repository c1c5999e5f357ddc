"""How far the workshop is set up: each step's state, read from the rows themselves.

A step is needed before the first return, or may wait. Nothing here is stored, so a step can never
say "done" of something that is not there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from django.contrib.auth.models import User
from django.db.models import Exists, OuterRef

from inventory.models import Admission, Colour, Event, Movement, Part, Polymer, Scale, Workshop
from returns.grading.queries import facts, new_frame
from returns.models import (
    Colourway,
    Component,
    DifferingComponent,
    Policy,
    ProductionBatch,
    Remedy,
    Request,
    SoldUnits,
    Terms,
)

LIMITS_EVENT: Final = "masters.set_limits"
MODELS_SHOWN_MAX: Final = 20
_STOCK_KINDS = ("opening", "receive_parts", "count_parts", "receive_feedstock")


def _has_address() -> bool:
    return Workshop.objects.exclude(address="").exists()


def _has_frame_on_offer() -> bool:
    # A model without frame material could be offered and never ground.
    bill = Component.objects.filter(model=OuterRef("model"), is_frame_material=True)
    return Colourway.objects.filter(Exists(bill), active=True, model__active=True).exists()


def _has_people() -> bool:
    roles = ("bench", "accountant")
    return User.objects.filter(is_active=True, groups__name__in=roles).exists()


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the checklist."""

    name: str
    is_needed: bool
    is_done: bool


_NEEDED: Final[dict[str, Callable[[], bool]]] = {
    "workshop": _has_address,
    "scale": lambda: Scale.objects.filter(in_use=True).exists(),
    "polymer": Polymer.objects.exists,
    "colours": Colour.objects.exists,
    "model": _has_frame_on_offer,
    "remedies": lambda: Remedy.objects.filter(active=True).exists(),
}
_MAY_WAIT: Final[dict[str, Callable[[], bool]]] = {
    "blends": lambda: Colour.objects.filter(kind=Colour.Kind.BLEND).exists(),
    "mixing": Admission.objects.exists,
    "colourways": DifferingComponent.objects.exists,
    "parts": Part.objects.exists,
    # The row of limits has defaults from the start; only the event tells that an owner has set
    # them.
    "limits": lambda: Event.objects.filter(name=LIMITS_EVENT).exists(),
    "stock": lambda: Movement.objects.filter(kind__in=_STOCK_KINDS).exists(),
    "terms": lambda: any(terms.is_priced for terms in Terms.objects.all()),
    "opening": lambda: Event.objects.filter(name="masters.set_opening").exists(),
    "imprint": lambda: Event.objects.filter(name="masters.set_imprint").exists(),
    "people": _has_people,
    "batches": ProductionBatch.objects.exists,
    "sold": SoldUnits.objects.exists,
}
ORDER: Final = (
    "workshop",
    "scale",
    "polymer",
    "colours",
    "blends",
    "mixing",
    "parts",
    "model",
    "colourways",
    "remedies",
    "limits",
    "terms",
    "opening",
    "imprint",
    "people",
    "stock",
    "batches",
    "sold",
)


def steps() -> tuple[Step, ...]:
    """Return every step in the order in which they are best done."""
    answers = _NEEDED | _MAY_WAIT
    return tuple(Step(name, name in _NEEDED, answers[name]()) for name in ORDER)


def is_open() -> bool:
    """Tell whether customers may file. Once the first of them has, it stays so."""
    # A master that is switched off later must not shut the door on customers who are being served.
    return Request.objects.exists() or all(is_done() for is_done in _NEEDED.values())


def new_frames() -> list[tuple[Colourway, new_frame.Cost]]:
    """Return what a new frame of each active model costs, in the first of its looks."""
    policy = Policy.the()
    rows = Colourway.objects.filter(active=True, model__active=True)
    looks: dict[int, Colourway] = {}
    for look in rows.select_related("model", "polymer", "colour").order_by("model__name", "pk"):
        looks.setdefault(look.model_id, look)
    return [
        (
            look,
            new_frame.of(look, material_minor_per_kg=facts.worth_of(look), policy=policy),
        )
        for look in list(looks.values())[:MODELS_SHOWN_MAX]
    ]

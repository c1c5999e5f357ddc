"""Taking a frame apart at the scale: each part beside what the bill of materials expects."""

from __future__ import annotations

from dataclasses import dataclass
from math import isqrt
from typing import Any

from django import forms
from django.contrib import messages
from django.forms.boundfield import BoundField
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST

from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm, MassField, ScaleField
from inventory.material.rules.grinding import is_nothing
from inventory.models import Colour
from inventory.staff.queries import BENCH, OWNER
from inventory.weighing.queries import traced
from returns.arriving.pages import scales
from returns.arriving.queries.frame_masses import GAP_MG
from returns.bench.pages import notices
from returns.bench.pages.attempts import done
from returns.bench.pages.finding import frame_by
from returns.catalogue import queries as catalogue
from returns.mending.rules import mending
from returns.models import ReturnedFrame
from returns.models.catalogue import ComponentKey
from returns.models.filing import Wish
from returns.models.remedies import DefectKey
from returns.regrind.rules import stripdown
from returns.regrind.rules.stripdown import Salvaged, StripDown
from returns.salvage.queries import donors as salvage
from returns.story.sums.states import FrameState

_GROUPS = {"lenses": "lens", "metal": "screw"}
SEVERAL = 2


@dataclass(frozen=True, slots=True)
class Heap:
    """A row of the table: what is weighed together, and what it should weigh; None if unknown.

    `spread_mg` is two standard deviations of that, by the bill; `colour` that of its box.
    """

    mass: BoundField
    expected_mg: int | None
    pieces: BoundField | None = None
    spread_mg: int | None = None
    colour: Colour | None = None


class StripForm(ActionForm):
    """One scale, one mass per heap; empty means that there was none."""

    scale = ScaleField()
    plastic = MassField(label=_("Clean frame material"))
    lenses = MassField(required=False, label=_("Lenses"))
    metal = MassField(required=False, label=_("Screws and metal"))
    foreign = MassField(
        required=False,
        label=_("Anything else, for waste"),
        help_text=_("Pads, glue, tape, frame material too dirty to grind."),
    )
    reason = forms.CharField(
        required=False,
        label=_("Reason for a large difference"),
        max_length=200,
        help_text=_("Only when the heaps do not add up to the frame."),
    )

    def __init__(self, frame: ReturnedFrame, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        self.spares = catalogue.spares_of(frame.colourway) if frame.colourway else []
        self.heaped, self.expected = _expected(frame)
        self.boxed = {"plastic": None} | {_field(one): one.material.colour for one in self.heaped}
        self._add_heaps(frame)
        for part in self.spares:
            self.fields[f"pieces-{part.code}"] = forms.IntegerField(
                required=False,
                min_value=0,
                max_value=stripdown.PIECES_MAX,
                label=_t("%(part)s: pieces kept") % {"part": part.name},
            )
            self.fields[f"salvaged-{part.code}"] = MassField(required=False, label=part.name)

    def _add_heaps(self, frame: ReturnedFrame) -> None:
        """Ask for each material by itself, and for what broke together, where there are several."""
        if len(self.heaped) < SEVERAL or frame.colourway is None:
            return
        for one in self.heaped:
            self.fields.setdefault(_field(one), MassField(required=False))
            self.fields[_field(one)].required = False
            self.fields[_field(one)].label = _component_words(one)
        self.boxed["mixed"] = None
        self.fields["mixed"] = MassField(
            required=False,
            label=_("Broken together, or not to be told apart"),
            help_text=_("Empty when each material lies by itself."),
        )
        takers = stripdown.mixed_into(frame.colourway)
        self.fields["mixed_into"] = forms.ModelChoiceField(
            Colour.objects.filter(pk__in=[colour.pk for colour in takers]),
            to_field_name="code",
            required=False,
            label=_("What broke together goes into the box of"),
            empty_label=_("choose a box") if takers else _("no box takes it: let it be waste"),
            help_text=_("Only boxes that the table of what may go with what allows."),
        )

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        # Nothing is proposed for it: into which box it goes is decided and never silent.
        if not is_nothing(data.get("mixed") or "") and not data.get("mixed_into"):
            self.add_error("mixed_into", _t("Choose the box, or count it among the waste."))
        return data

    def heaps(self) -> list[Heap]:
        """Return the heaps in the order of the work."""
        rows = []
        for name in (*self.boxed, "lenses", "metal", "foreign"):
            expected_mg, spread_mg = self.expected.get(name, (None, None))
            colour = self.boxed.get(name) if len(self.heaped) >= SEVERAL else None
            rows.append(Heap(self[name], expected_mg, spread_mg=spread_mg, colour=colour))
        return rows

    def kept(self) -> list[Heap]:
        """Return a heap for each spare part, with the field for its pieces."""
        return [
            Heap(self[f"salvaged-{part.code}"], part.nominal_mg, self[f"pieces-{part.code}"])
            for part in self.spares
        ]

    def facts(self) -> StripDown:
        """Return the arguments of the rule."""
        data = self.cleaned_data
        kept = [
            Salvaged(
                part=part,
                pieces=data[f"pieces-{part.code}"] or 0,
                mass=data[f"salvaged-{part.code}"],
            )
            for part in self.spares
            if data[f"pieces-{part.code}"] or data[f"salvaged-{part.code}"]
        ]
        names = ("scale", "plastic", "lenses", "metal", "foreign", "reason")
        heaps = [
            stripdown.Heap(of=(colour,), into=colour, mass=data[name], field=name)
            for name, colour in self.boxed.items()
            if colour is not None and name != "plastic"
        ]
        if data.get("mixed") and data.get("mixed_into"):
            of = tuple(one.material.colour for one in self.heaped)
            mixed = {"into": data["mixed_into"], "mass": data["mixed"], "field": "mixed"}
            heaps.append(stripdown.Heap(of=of, **mixed))
        return StripDown(
            salvaged=tuple(kept), heaps=tuple(heaps), **{name: data[name] for name in names}
        )


class DiscardForm(ActionForm):
    reason = forms.CharField(
        label=_("What it is, or why it cannot be known"),
        max_length=200,
        help_text=_("Name no customer here."),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def strip(request: StaffRequest, tag: str) -> HttpResponse:
    frame = frame_by(tag)
    if request.method != "POST":
        return _page(request, frame, {})
    form = StripForm(frame, request.POST)
    data = {"parts": form.facts()} if form.is_valid() else {}
    if done(request, form, stripdown.strip, frame=frame, **data):
        words = _t("%(tag)s is in its box.") % {"tag": frame.tag}
        notices.done(request, words, undo=f"{reverse('frame', args=[frame.tag])}#undo")
        # Read again: `frame` is from before the rule, which changed the row.
        now = ReturnedFrame.objects.get(pk=frame.pk)
        return redirect("post-frame" if now.lenses_back else "frame", frame.tag)
    return _page(request, frame, {"form": form})


@require_POST
@allow(BENCH, OWNER)
def discard(request: StaffRequest, tag: str) -> HttpResponse:
    """Discard a frame that is not ours, or not surely: it ends as waste."""
    frame, form = frame_by(tag), DiscardForm(request.POST, auto_id="discard_%s")
    data = {"reason": form.cleaned_data["reason"]} if form.is_valid() else {}
    if done(request, form, stripdown.discard_foreign, frame=frame, **data):
        messages.success(request, _t("%(tag)s is in the foreign waste.") % {"tag": frame.tag})
        return redirect("frame", frame.tag)
    return _page(request, frame, {"discard_form": form})


def _page(request: StaffRequest, frame: ReturnedFrame, tried: dict[str, Any]) -> HttpResponse:
    facts: dict[str, Any] = {
        "frame": frame,
        "form": StripForm(frame, initial=scales.last(request)),
        "discard_form": DiscardForm(auto_id="discard_%s"),
        "is_next": frame.state == FrameState.TO_STRIP or stripdown.may_be_discarded(frame),
        "is_held": frame.state == FrameState.HELD,
        "is_ours": stripdown.is_ours(frame),
        "is_wished": frame.wish == Wish.REGRIND,
        "mass_mg": mending.expected_mass_mg(frame),
        "known": traced.in_house(frame.tag),
        "gap_mg": GAP_MG,
        "part_promises": salvage.promises_of(frame),
    } | tried
    facts["refused"] = next((form for form in tried.values() if form.is_bound), None)
    status = 422 if facts["refused"] else 200
    return render(request, "returns/workroom/strip.html", facts, status=status)


def _expected(
    frame: ReturnedFrame,
) -> tuple[tuple[catalogue.Heap, ...], dict[str, tuple[int, int]]]:
    """Return the frame's materials, and by field what its heap should weigh by the bill and two
    standard deviations of it, in mg, less what the latest look-over found missing."""
    if frame.colourway is None:
        return (), {}
    latest = frame.gradings.order_by("-at", "-pk").first()
    missing = latest.findings.filter(defect=DefectKey.MISSING) if latest else None
    gone = set(missing.values_list("component", flat=True)) if missing is not None else set()
    bill = catalogue.bill_of(frame.colourway)
    heaped = catalogue.heaps(frame.colourway, bill, without=gone)
    expected = {_field(one): (one.nominal_mg, 2 * one.spread_mg) for one in heaped}
    for name, kind in _GROUPS.items():
        pieces = [made.piece for key, made in bill.items() if key not in gone]
        alike = [piece for piece in pieces if piece.kind == kind]
        spread_mg = 2 * isqrt(sum(piece.spread_mg**2 for piece in alike))
        expected[name] = (sum(piece.nominal_mg for piece in alike), spread_mg)
    return heaped, expected


def _field(heap: catalogue.Heap) -> str:
    return "plastic" if heap.is_main else f"heap-{heap.material.colour.code}"


def _component_words(heap: catalogue.Heap) -> str:
    kinds = dict.fromkeys(str(ComponentKey(key).label) for key in heap.keys)
    return f"{heap.material.colour.name} ({', '.join(kinds)})" if kinds else str(heap.material)

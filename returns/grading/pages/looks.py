"""The look-over form: what is wrong with which part, the plastic, and the word that all is well."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal, DecimalException
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.forms.boundfield import BoundField
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from inventory.errors import BadInput, StaleState
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.staff.queries import BENCH, OWNER
from returns.arriving.pages.parcels import batch_by
from returns.bench.pages.attempts import FrameForm, hand_facts
from returns.bench.pages.finding import frame_by
from returns.bench.pages.frames import decision
from returns.bench.queries.frames import NEXT_PAGE, version_of
from returns.filing.queries import frames as filed_frames
from returns.grading.pages import wording
from returns.grading.queries.facts import MEASURED, Seen
from returns.grading.rules import lookover, record
from returns.grading.rules.lookover import MEASURED_UM_MAX, Look
from returns.grading.sums import Disposition, PolymerCheck
from returns.mending.rules import mending
from returns.models import Colourway, Grading, ProductionBatch, Remedy, ReturnedFrame
from returns.models.catalogue import ComponentKey
from returns.models.remedies import DefectKey
from returns.story.sums.states import REGRADABLE, FrameState

_D = DefectKey
# What can be seen on each kind of part; common practice, no source. The owner's remedies add more.
SEEN_ON: Final[dict[str, tuple[str, ...]]] = {
    "front": (_D.SNAPPED, _D.CRACKED, _D.GROOVE, _D.WARPED, _D.SCUFFED, _D.FOREIGN),
    "bridge": (_D.SNAPPED, _D.CRACKED, _D.WARPED),
    "arm": (_D.SNAPPED, _D.CRACKED, _D.WARPED, _D.SCUFFED, _D.MISSING, _D.FOREIGN),
    "hinge": (_D.CRACKED_PIVOT, _D.STRIPPED, _D.OFFSET, _D.SNAPPED),
    "screw": (_D.LOOSE, _D.MISSING, _D.FOREIGN),
    "lens": (_D.SCUFFED, _D.CRACKED, _D.MISSING, _D.FOREIGN),
}
_AT_HINGE: Final = set(SEEN_ON["hinge"]) - set(SEEN_ON["arm"])
MEASURE_HINTS: Final = {
    _D.OFFSET: _("how far off its centre, mm"),
    _D.STRIPPED: _("thinnest wall round the hole, mm"),
    _D.GROOVE: _("depth of wear, mm"),
}


# What the press that takes an answer goes on to, by the state that the answer leads to.
ONWARD: Final = "on"
_ONWARD: Final = {
    FrameState.TO_MEND: _("Take it and start mending"),
    FrameState.TO_STRIP: _("Take it and go on to strip"),
    FrameState.TO_RETURN: _("Take it and go on to post it"),
}


class MillimetreField(forms.CharField):
    """A length typed in mm with a point or a comma; becomes whole micrometres, or None."""

    def __init__(self, **facts: Any) -> None:
        super().__init__(required=False, max_length=12, **facts)

    def clean(self, value: Any) -> int | None:
        # Decimal and not float: 0.15 mm has to be 150 µm exactly, or be refused.
        text = str(super().clean(value)).strip().removesuffix("mm").strip().replace(",", ".")
        if not text:
            return None
        try:
            length_um = Decimal(text) * 1000
        except DecimalException:
            raise forms.ValidationError(_t("Write a length in mm, for example 0.15.")) from None
        # Decimal reads "NaN" and "Infinity" too, and a comparison with NaN raises.
        if not (length_um.is_finite() and 0 <= length_um <= MEASURED_UM_MAX):
            raise forms.ValidationError(
                _t("A length here lies between 0 and %(max)s mm.")
                % {"max": MEASURED_UM_MAX // 1000}
            )
        if length_um != length_um.to_integral_value():
            raise forms.ValidationError(_t("Write no more than three decimals of a millimetre."))
        return int(length_um)


@dataclass(frozen=True, slots=True)
class Cell:
    """One defect of one part: its tick, and its measure where one applies; what is seen of both.

    The fields' own labels name the part too, for a summary of errors.
    """

    tick: BoundField
    measure: BoundField | None
    words: str
    hint: str


@dataclass(frozen=True, slots=True)
class Row:
    """One part with its defects; open from the start where there is something to see in it."""

    label: str
    cells: list[Cell]
    is_open: bool
    has_errors: bool

    @property
    def tallies(self) -> str:
        """How many of its defects are ticked, in words for each number there can be, none first."""
        counts = range(1, len(self.cells) + 1)
        words = [ngettext("%(count)s ticked", "%(count)s ticked", n) % {"count": n} for n in counts]
        return "|".join(["", *words])


class LookForm(FrameForm):
    """A tick per part and defect; everything else about the frame in three questions."""

    polymer = forms.ChoiceField(
        label=_("The plastic"),
        choices=[
            (PolymerCheck.OURS, _("ours: mark, colour and feel are right")),
            (PolymerCheck.FOREIGN, _("not ours")),
            (PolymerCheck.UNKNOWN, _("cannot tell")),
        ],
        widget=forms.RadioSelect,
    )
    found_sound = forms.BooleanField(
        required=False,
        label=_("Nothing is wrong with it: I looked at every part"),
    )
    colourway = forms.ModelChoiceField(
        Colourway.objects.select_related("model", "colour"),
        required=False,
        label=_("Model and colour"),
        empty_label=_("not known"),
    )
    batch = forms.CharField(
        required=False,
        max_length=20,
        label=_("Batch moulded into the arm"),
        help_text=_("If it can be read and was not noted at the weigh-in."),
    )

    shown = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, *args: Any, opened: str = "", **facts: Any) -> None:
        """`opened` is the part that stands open from the start."""
        super().__init__(*args, **facts)
        self.opened = opened
        # One query for the whole grid.
        extra = set(Remedy.objects.filter(active=True).values_list("component_kind", "defect"))
        self.grid = [(key, _offered(key, extra)) for key in ComponentKey.values]
        for key, defects in self.grid:
            for defect in defects:
                part, seen = ComponentKey(key).label, DefectKey(defect)
                label = f"{part}: {seen.label}"
                self.fields[f"d_{key}_{defect}"] = forms.BooleanField(required=False, label=label)
                if defect in MEASURED:
                    label = f"{part}: {MEASURE_HINTS[seen]}"
                    self.fields[f"um_{key}_{defect}"] = MillimetreField(label=label)

    def clean_batch(self) -> ProductionBatch | None:
        return batch_by(self.cleaned_data["batch"])

    def rows(self) -> Iterator[Row]:
        """The grid for the page."""
        for key, defects in self.grid:
            cells = [self._cell(key, DefectKey(one)) for one in defects]
            bound = [one for cell in cells for one in (cell.tick, cell.measure) if one]
            has_errors = any(one.errors for one in bound)
            is_open = key == self.opened or has_errors or any(one.value() for one in bound)
            yield Row(str(ComponentKey(key).label), cells, is_open, has_errors)

    def _cell(self, key: str, defect: DefectKey) -> Cell:
        name = f"um_{key}_{defect}"
        measure = self[name] if name in self.fields else None
        hint = str(MEASURE_HINTS.get(defect, ""))
        return Cell(self[f"d_{key}_{defect}"], measure, str(defect.label), hint)

    def carried(self) -> list[tuple[str, str]]:
        """What was looked at, as sent: the names and values that the taking form carries on."""
        # As sent and not as cleaned: the taking form must be read again in the same way, to the
        # letter.
        sent: Any = self.data
        own = set(self.fields) - {"key", "seen_version", "shown"}
        return [(name, value) for name in sent if name in own for value in sent.getlist(name)]

    def look(self) -> Look:
        """What was ticked. A measure without its tick counts as ticked: nobody measures nothing."""
        given = self.cleaned_data
        seen = [
            Seen(key, defect, given.get(f"um_{key}_{defect}"))
            for key, defects in self.grid
            for defect in defects
            if given[f"d_{key}_{defect}"] or given.get(f"um_{key}_{defect}") is not None
        ]
        return Look(
            findings=seen,
            polymer=given["polymer"],
            found_sound=given["found_sound"],
            batch=given["batch"],
            colourway=given["colourway"],
        )


def _offered(component: str, extra: set[tuple[str, str]]) -> list[str]:
    """The usual defects of a part, and any other that one of the owner's remedies answers."""
    kind = component.partition("_")[0]
    usual = [str(defect) for defect in SEEN_ON[kind]]
    # What shows at the hinge is asked there, though the arm is the piece that is mended.
    elsewhere = SEEN_ON["hinge"] if kind == "arm" else ()
    added = sorted(
        defect for of, defect in extra if of == kind and defect not in (*usual, *elsewhere)
    )
    return [*usual, *added]


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def look(request: StaffRequest, tag: str) -> HttpResponse:
    """Look a frame over: the answer is shown first, and taken by a second press."""
    # The version before the frame: what changes between the two reads is then noticed, never
    # overlooked.
    version = version_of(tag)
    seen = frame_by(tag)
    if seen.state == FrameState.MENDING and request.POST.get("take") == ONWARD:
        # Pressed twice: the first press took the answer and began the mend.
        return redirect("mend", seen.tag)
    if seen.state not in REGRADABLE:
        messages.warning(request, _t("This frame is past its look-over."))
        return redirect("frame", seen.tag)
    form = LookForm(
        request.POST if request.method == "POST" else None,
        initial={
            "batch": seen.batch.code if seen.batch else "",
            "colourway": seen.colourway,
            "seen_version": version,
        },
        opened=_named(seen),
    )
    taken = form.is_valid() and "take" in request.POST and _taken(request, form, seen)
    if taken:
        messages.success(request, _t("The answer is taken."))
        if request.POST["take"] == ONWARD:
            return _onward(request, form, seen)
        return redirect("frame", seen.tag)
    facts = (
        {
            "frame": seen,
            "form": form,
            "answer": _answer(form, seen),
            "is_weighed": "weighed" in request.GET and seen.state == FrameState.WEIGHED,
        }
        | _hints(seen)
        | hand_facts(request, seen)
    )
    return render(request, "returns/bench/look.html", facts, status=422 if form.errors else 200)


def _taken(request: StaffRequest, form: LookForm, seen: ReturnedFrame) -> bool:
    """Take the answer that was shown. A refusal is in the form."""
    graded = form.attempt(
        lookover.grade,
        frame=seen,
        look=form.look(),
        shown=form.cleaned_data["shown"],
        at=timezone.now(),
        by=request.user,
    )
    return graded is not None


def _onward(request: StaffRequest, form: LookForm, seen: ReturnedFrame) -> HttpResponse:
    """From the answer to its deed, with the frame still in the hand: a mend is begun at once.

    Another answer may count by now; the frame's own page then says what is next.
    """
    frame = frame_by(seen.tag)
    if frame.state == FrameState.TO_MEND:
        mending.open_job(
            key=uuid.uuid5(form.cleaned_data["key"], "start"),
            frame=frame,
            at=timezone.now(),
            by=request.user,
        )
        return redirect("mend", frame.tag)
    page = NEXT_PAGE.get(frame.state, "") if frame.state in _ONWARD else "frame"
    return redirect(page or "frame", frame.tag)


def _answer(form: LookForm, seen: ReturnedFrame) -> dict[str, Any] | None:
    """What today's sums say of a look that was sent, and what the taking form carries.

    None before anything was sent, and for a look that has to be put right first. After a refusal
    for something newer this is the newer answer, of the frame as it is now.
    """
    is_newer = isinstance(form.refusal, StaleState)
    if not form.is_bound or (form.errors and not is_newer):
        return None
    version = version_of(seen.tag)
    now = frame_by(seen.tag)
    if now.state not in REGRADABLE:
        return None
    look = form.look()
    try:
        kept = lookover.answer(frame=now, look=look)
    except BadInput as error:
        form.add_error(error.field if error.field in form.fields else None, error.message)
        return None
    # Never saved: the page shows the decision with the same words as one that was taken.
    grading = Grading(frame=now, computed=kept["outcome"], decided=kept["outcome"], sums=kept)
    names = wording.part_names()
    return {
        "decision": decision(grading, names, look.findings),
        "standing": now.gradings.select_related("by").first(),
        "carried": form.carried(),
        "onward": _ONWARD.get(Disposition(kept["disposition"]).frame_state, ""),
        "key": form["key"].value(),
        "seen_version": version,
        "shown": record.answer_of(kept),
    }


def _named(frame: ReturnedFrame) -> str:
    """The part where a hand looks first: the one that the customer named, or an arm's hinge."""
    filed = filed_frames.of_returned(frame)
    if filed is None:
        return ""
    kind, _underscore, side = filed.component.partition("_")
    at_hinge = kind == "arm" and filed.defect in _AT_HINGE
    return f"hinge_{side}" if at_hinge else filed.component


def _hints(frame: ReturnedFrame) -> dict[str, Any]:
    """What the customer and the mass say; shown beside the form, never ticked for anybody."""
    return {
        "reported": filed_frames.of_returned(frame),
        "verdict": wording.mass_verdict(frame.massfit) if frame.massfit else "",
    }

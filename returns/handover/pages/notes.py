"""Hand-over notes: left for a frame or for all, done by a tick, kept."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST

from inventory.errors import BadInput
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm, ScanField
from inventory.staff.queries import BENCH, OWNER
from returns.bench.pages.attempts import done, found
from returns.bench.pages.finding import read_code
from returns.bench.queries import frames
from returns.handover import queries as handover
from returns.handover.rules import notes as rules
from returns.models import HandoverNote, ReturnedFrame

PAGE_SIZE = 50


class NoteForm(ActionForm):
    text = forms.CharField(
        label=_("Note for whoever comes next"),
        max_length=rules.NOTE_LENGTH_MAX,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("Name no customer here."),
    )
    frame = ScanField(
        kind="F",
        required=False,
        label=_("For which frame"),
        help_text=_("Scan its tag or type it. Empty: for all."),
    )

    def clean_frame(self) -> ReturnedFrame | None:
        text = self.cleaned_data["frame"].strip()
        if not text:
            return None
        try:
            frame = frames.by_tag(read_code(text, prefix="F"))
        except BadInput as error:
            raise forms.ValidationError(error.message) from error
        if frame is None:
            raise forms.ValidationError(_t("No frame has this tag. Read it again."))
        return frame


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def notes(request: StaffRequest) -> HttpResponse:
    """Show every note, the newest first, and take a new one."""
    form = NoteForm(request.POST if request.method == "POST" else None)
    names = ("text", "frame")
    data = {name: form.cleaned_data[name] for name in names} if form.is_valid() else {}
    if form.is_bound and done(request, form, rules.write, **data):
        messages.success(request, _t("The note is left."))
        return redirect("bench")
    shown = Paginator(handover.all_notes(), PAGE_SIZE).get_page(request.GET.get("page"))
    facts: dict[str, Any] = {"form": form, "page": shown, "rows": [row_of(one) for one in shown]}
    status = 422 if form.errors else 200
    return render(request, "returns/handover/notes.html", facts, status=status)


@require_POST
@allow(BENCH, OWNER)
def tick(request: StaffRequest, number: int) -> HttpResponse:
    """Say that a note is done."""
    note = found(HandoverNote.objects.all(), pk=number)
    form = ActionForm(request.POST)
    if done(request, form, rules.tick, note=note):
        messages.success(request, _t("Done. The note is kept among all notes."))
    else:
        messages.error(request, _t("It was not done. Press the button once more."))
    return redirect("bench")


def row_of(note: HandoverNote) -> dict[str, Any]:
    """Return a note with the form that ticks it, if it is open."""
    form = ActionForm(auto_id=f"note{note.pk}_%s") if note.done_at is None else None
    return {"it": note, "form": form}

"""Goods on the bench: the loads, one load, and one page per action at it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_safe

from inventory.errors import BadInput, NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import MassField
from inventory.goods import queries
from inventory.goods import rules as loads
from inventory.models import GoodsKind, Load, Workshop
from inventory.staff.queries import ACCOUNTANT, BENCH, OWNER
from returns.arriving.pages import scales
from returns.bench.pages.attempts import done, focused, found
from returns.filing.rules import photos
from returns.goods import queries as told
from returns.goods import rules
from returns.goods.pages import forms, shown
from returns.models import Evidence, Giver


@dataclass(frozen=True, slots=True)
class Action:
    """One page of a load: its words, its form, its rule, and in which states it is offered."""

    title: Promise
    lead: Promise
    press: Promise
    form: Callable[..., Any]
    rule: Callable[..., Any]
    states: tuple[str, ...]


_SORTING, _FINISHED = Load.State.SORTING, Load.State.FINISHED
ACTIONS: Final[dict[str, Action]] = {
    "take-out": Action(
        _("Take something out"),
        _("Weigh one stream, and say where it goes. Whatever is left in the end is boxed."),
        _("Take it out"),
        forms.StreamForm,
        loads.take_out,
        (_SORTING,),
    ),
    "finish": Action(
        _("Box what is washed and dry"),
        _("What is then missing of the load was washed and dried off."),
        _("Box it and close the load"),
        forms.FinishForm,
        loads.finish,
        (_SORTING,),
    ),
    "pick-out": Action(
        _("Pick out a wrong polymer"),
        _("It turned up in the box or in the flake. It goes back to this load, with its history."),
        _("Pick it out"),
        forms.PickOutForm,
        loads.pick_out,
        (_FINISHED,),
    ),
    "pass-on": Action(
        _("Pass on what was kept"),
        _("The whole of what was kept leaves the house."),
        _("It has left"),
        forms.PassOnForm,
        loads.pass_on,
        (_SORTING, _FINISHED),
    ),
    "undo": Action(
        _("Take back the last step"),
        _("The newest movement of this load is reversed; its weighing stays on record."),
        _("Take it back"),
        forms.UndoForm,
        loads.undo,
        (_SORTING, _FINISHED),
    ),
    "forget": Action(
        _("Forget who gave it"),
        _("Name and contact are deleted. The grams, the evidence and the giver's link stay."),
        _("Delete name and contact"),
        forms.ForgetForm,
        rules.forget_giver,
        (_SORTING, _FINISHED, Load.State.VOID),
    ),
}


@require_safe
@allow(BENCH, OWNER, ACCOUNTANT)
def page(request: StaffRequest) -> HttpResponse:
    """Show the loads and what each kind of goods yields."""
    latest = queries.latest()
    facts = {
        "sorting": _named(latest, _SORTING),
        "done": _named(latest, _FINISHED),
        "yields": [shown.yielded(one) for one in queries.yields()],
        "picture": shown.picture(latest),
        "wide": True,
    }
    return render(request, "returns/goods/loads.html", facts)


def _named(listed: list[queries.Standing], state: str) -> list[tuple[queries.Standing, str]]:
    """Return the loads in a state, each with the name of its kind: one question for each kind."""
    names = GoodsKind.names()
    return [(one, names[one.load.kind]) for one in listed if one.load.state == state]


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def receive(request: StaffRequest) -> HttpResponse:
    """Weigh in a load, then show its page."""
    form = forms.ReceiveForm(request.POST or None, initial=scales.last(request))
    if request.method == "POST" and form.is_valid():
        made = form.attempt(rules.take_in, at=timezone.now(), by=request.user, **form.facts())
        if made is not None:
            scales.remember(request, form.cleaned_data["scale"])
            messages.success(request, _t("Weighed in. The receipt is ready."))
            return redirect("goods-load", made.code)
    facts = {"form": focused(form)}
    return render(request, "returns/goods/receive.html", facts, status=422 if form.errors else 200)


@require_safe
@allow(BENCH, OWNER, ACCOUNTANT)
def load(request: StaffRequest, code: str) -> HttpResponse:
    """Show one load: its balance, its streams, what became of it, its evidence."""
    one = queries.standing(found(Load.objects.all(), code=code))
    facts = _facts(one) | {
        "became": told.became(one),
        "evidence": one.load.evidence.all(),
        "actions": [(name, ACTIONS[name]) for name in _offered(one)],
    }
    return render(request, "returns/goods/load.html", facts)


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def act(request: StaffRequest, code: str, action: str) -> HttpResponse:
    """Show one action's form and do it, then go back to the load."""
    one = queries.standing(found(Load.objects.all(), code=code))
    # The name is part of the address: only what stands in the table is ever called.
    if action not in ACTIONS:
        raise NotFound()
    row = ACTIONS[action]
    form = row.form(one.load, request.POST or None, initial=scales.last(request))
    is_sent = request.method == "POST" and form.is_valid()
    if is_sent and done(request, form, row.rule, load=one.load, **form.facts()):
        messages.success(request, _t("Done: %(action)s.") % {"action": row.title})
        return redirect("goods-load", code)
    facts = _facts(one) | {
        "form": focused(form),
        "action": row,
        "name": action,
        "is_offered": action in _offered(one),
        "has_mass": any(isinstance(field, MassField) for field in form.fields.values()),
    }
    return render(request, "returns/goods/act.html", facts, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def evidence(request: StaffRequest, code: str) -> HttpResponse:
    """Keep a picture that shows where a load came from."""
    kept = found(Load.objects.all(), code=code)
    sent = request.method == "POST"
    form = (
        forms.EvidenceForm(kept, request.POST, request.FILES) if sent else forms.EvidenceForm(kept)
    )
    if sent and form.is_valid() and _kept(request, form):
        messages.success(request, _t("It is kept with the load."))
        return redirect("goods-load", code)
    facts = {"form": form, "load": kept}
    return render(request, "returns/goods/evidence.html", facts, status=422 if form.errors else 200)


def _kept(request: StaffRequest, form: forms.EvidenceForm) -> bool:
    data = form.cleaned_data
    try:
        picture = _read(data["picture"])
    except BadInput as error:
        form.add_error("picture", error.message)
        return False
    facts = {"kind": data["kind"], "note": data["note"], "picture": picture}
    return done(request, form, rules.add_evidence, load=form.load, **facts)


def _read(upload: Any) -> photos.Picture | photos.Paper:
    """Take an upload by what it is, whatever its name says."""
    head = upload.file.read(5)
    upload.file.seek(0)
    take = photos.paper if head == b"%PDF-" else photos.redraw
    return take(upload.file, size_bytes=upload.size)


@require_http_methods(["GET", "HEAD", "POST"])
@allow(OWNER)
def drop(request: StaffRequest, file_name: str) -> HttpResponse:
    """Delete a picture that should not have been kept."""
    kept = found(Evidence.objects.select_related("load"), file_name=file_name)
    form = forms.LoadForm(kept.load, request.POST or None)
    code = kept.load.code
    if request.method == "POST" and done(request, form, rules.drop_evidence, evidence=kept):
        messages.success(request, _t("It is deleted."))
        return redirect("goods-load", code)
    return render(request, "returns/goods/drop.html", {"form": form, "evidence": kept})


@require_safe
@allow(BENCH, OWNER, ACCOUNTANT)
def picture(request: StaffRequest, file_name: str) -> HttpResponse:
    """Send what is kept as evidence. Only names that the table knows are ever opened."""
    del request
    kept = found(Evidence.objects.select_related("load"), file_name=file_name)
    content = photos.read(kept.file_name)
    if not kept.is_pdf:
        return HttpResponse(content, content_type="image/jpeg")
    # To be saved and not shown here: a PDF may hold scripts and links of whoever made it.
    name = f"{kept.load.code}-{kept.kind}.pdf"
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'attachment; filename="{name}"',
            "X-Content-Type-Options": "nosniff",
            "Content-Security-Policy": "sandbox; default-src 'none'",
        },
    )


@require_safe
@allow(BENCH, OWNER)
def receipt(request: StaffRequest, code: str) -> HttpResponse:
    """Show the giver's receipt in grams, to be printed, with the private link."""
    one = queries.standing(found(Load.objects.all(), code=code))
    link = f"{settings.BASE_URL}{reverse('goods-told', args=[rules.link_secret(one.load)])}"
    facts = _facts(one) | {"workshop": Workshop.the(), "link": link, "qr": mark_safe(_qr(link))}
    return render(request, "returns/goods/receipt.html", facts)


def _qr(address: str) -> str:
    import segno

    # As on a slip: level M bears some 15 % of damage; four modules of quiet zone (ISO/IEC 18004).
    return str(segno.make(address, error="m", micro=False).svg_inline(omitsize=True, border=4))


def _offered(one: queries.Standing) -> list[str]:
    """Return the actions that make sense at a load as it stands."""
    giver = Giver.objects.filter(load=one.load).first()
    lacking = {
        "pass-on": not one.kept,
        "pick-out": not one.nets,
        "undo": one.last_movement is None,
        "forget": giver is None or not (giver.name or giver.contact),
    }
    return [
        name
        for name, row in ACTIONS.items()
        if one.load.state in row.states and not lacking.get(name, False)
    ]


def _facts(one: queries.Standing) -> dict[str, Any]:
    return {
        "it": one,
        "load": one.load,
        "kind": GoodsKind.names().get(one.load.kind, one.load.kind),
        "giver": Giver.objects.filter(load=one.load).first(),
        "streams": shown.streams(one),
    }

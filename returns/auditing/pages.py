"""Audits of weigh-ins: draw a sample of a month; weigh it again; read what the plan can tell."""

from __future__ import annotations

from functools import partial
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from inventory.errors import NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm, ScaleField
from inventory.staff.queries import BENCH, OWNER
from returns import charts
from returns.auditing import rules as auditing
from returns.auditing import sums as sampling
from returns.auditing.rules import WeighedAgain
from returns.catalogue.pages import lists
from returns.figures.circularity.pages import shown
from returns.figures.circularity.pages.tables import Cell, Table, count
from returns.figures.span.pages import MonthInput
from returns.models import AuditedFrame, WeighAudit

SHOWN_MAX = 50
POINTS = 24
CHANCES = (0.95, 0.10)


class DrawForm(ActionForm):
    month = forms.CharField(
        label=gettext_lazy("Month of the weigh-ins"),
        max_length=7,
        widget=MonthInput({"placeholder": "2026-10"}),
    )
    quality_limit = forms.ChoiceField(
        label=gettext_lazy("Share of wrong weigh-ins that we could live with"),
        choices=lambda: [(limit, f"{number_format(limit)} %") for limit in sampling.AQLS],
        initial="4.0",
        help_text=gettext_lazy("The smaller, the more frames are drawn."),
    )


class WeighForm(ActionForm):
    """One mass for each frame of the sample, all on one scale."""

    scale = ScaleField()

    def __init__(self, data: Any, *, frames: list[AuditedFrame]) -> None:
        super().__init__(data)
        for one in frames:
            # Named by the tag and not by a number: a page that is sent late cannot enter a mass for
            # another frame.
            self.fields[f"mass-{one.frame.tag}"] = forms.CharField(
                label=one.frame.tag,
                required=False,
                max_length=40,
            )

    @property
    def masses(self) -> list[BoundField]:
        return [bound for bound in self if bound.name.startswith("mass-")]

    def again(self) -> WeighedAgain:
        facts = self.cleaned_data
        typed = {
            name.removeprefix("mass-"): text
            for name, text in facts.items()
            if name.startswith("mass-")
        }
        return WeighedAgain(facts["scale"], typed)


@allow(OWNER)
@require_http_methods(["GET", "POST"])
def page(request: StaffRequest) -> HttpResponse:
    """Show the audits so far, and draw a new one."""
    form = DrawForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        made = form.attempt(
            auditing.draw,
            month=form.cleaned_data["month"].strip(),
            quality_limit=form.cleaned_data["quality_limit"],
            at=timezone.now(),
            by=request.user,
        )
        if made is not None:
            return redirect("audit", number=made.pk)
    rows = WeighAudit.objects.all()[:SHOWN_MAX]
    facts = {"form": form, "audits": [(row, number_format(row.quality_limit)) for row in rows]}
    status = 400 if form.errors else 200
    return render(request, "returns/owner/audits.html", facts, status=status)


@allow(OWNER, BENCH)
@require_http_methods(["GET", "POST"])
def one(request: StaffRequest, number: int) -> HttpResponse:
    """Show one audit: its plan and sample; the form while it waits, the verdict afterwards."""
    audit = WeighAudit.objects.filter(pk=number).first()
    if audit is None:
        raise NotFound
    # Form, table and verdicts all read the frames: one question for all of them.
    frames = list(audit.frames.select_related("frame__reading__scale", "reading"))
    form = WeighForm(request.POST if request.method == "POST" else None, frames=frames)
    if form.is_valid():
        done = form.attempt(
            auditing.weigh,
            audit=audit,
            again=form.again(),
            at=timezone.now(),
            by=request.user,
        )
        if done is not None:
            return redirect("audit", number=number)
    status = 400 if form.errors else 200
    return render(request, "returns/owner/audit.html", _facts(audit, frames, form), status=status)


@allow(OWNER, BENCH)
def download(request: StaffRequest, number: int) -> HttpResponse:
    """Send the chances of acceptance as CSV."""
    del request
    audit = WeighAudit.objects.filter(pk=number).first()
    if audit is None:
        raise NotFound
    plan = sampling.Plan(sample=audit.frames.count(), accept=audit.accept)
    content = _table(plan, len(audit.lot_tags)).csv()
    return lists.download(f"audit-{number}.csv", content)


def _facts(audit: WeighAudit, frames: list[AuditedFrame], form: WeighForm) -> dict[str, Any]:
    plan = sampling.Plan(sample=len(frames), accept=audit.accept)
    lot = len(audit.lot_tags)
    return {
        "audit": audit,
        "limit": number_format(audit.quality_limit),
        "frames": frames,
        "form": form,
        "lot": lot,
        "plan": plan,
        "wrong": sum(f.verdict in ("differs", "missing") for f in frames),
        "tells": _tells(plan, lot),
        "picture": _picture(plan, lot),
        "table": _table(plan, lot),
    }


def _tells(plan: sampling.Plan, lot: int) -> list[str]:
    """Say what the plan can tell: how bad a lot it mostly accepts, and mostly refuses."""
    if plan.sample >= lot:
        return [_("Every frame of the lot is weighed again, so nothing is left to chance.")]
    good, bad = (_most_wrong(plan, lot, chance) for chance in CHANCES)
    return [
        _(
            "A lot with %(good)s wrong of %(lot)s is accepted in at least 95 of 100 draws; one "
            "with %(bad)s wrong in at most 10 of 100."
        )
        % {"good": good, "bad": bad + 1, "lot": lot}
    ]


def _most_wrong(plan: sampling.Plan, lot: int, chance: float) -> int:
    """Return the most wrong pieces at which the lot is accepted with at least that chance."""
    wrong = 0
    # The chance falls with every wrong piece more, so the first that is too low ends the search.
    while wrong < lot and _chance(plan, lot, wrong + 1) >= chance:
        wrong += 1
    return wrong


def _chance(plan: sampling.Plan, lot: int, wrong: int) -> float:
    return sampling.acceptance_chance_in_lot(plan, lot=lot, bad=wrong)


def _curve(plan: sampling.Plan, lot: int) -> list[tuple[int, float]]:
    """Return wrong pieces in the lot with the chance of acceptance, up to where it is nil."""
    last = min(lot, _most_wrong(plan, lot, 0.005) + 1)
    step = max(1, last // POINTS)
    return [(wrong, _chance(plan, lot, wrong)) for wrong in range(0, last + 1, step)]


def _picture(plan: sampling.Plan, lot: int) -> Any:
    title = charts.Title(
        _("What this audit can tell"),
        _("Chance that the lot is accepted, by how many of its weigh-ins are wrong."),
    )
    line = charts.Line(_("chance to be accepted"), _curve(plan, lot), stepped=False)
    across = _("wrong weigh-ins in the lot")
    return charts.for_screens(partial(charts.curves, title, [line], shown.percent, across=across))


def _table(plan: sampling.Plan, lot: int) -> Table:
    return Table(
        "audit",
        _("Chance that the lot is accepted"),
        ("wrong_in_lot", "chance"),
        (_("Wrong weigh-ins in the lot"), _("Chance")),
        tuple(
            (count(wrong), Cell(chance, shown.percent(chance)))
            for wrong, chance in _curve(plan, lot)
        ),
    )

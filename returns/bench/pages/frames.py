"""A frame's own page: everything about it, and the one next step."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST, require_safe

from inventory.errors import BadInput, NotFound
from inventory.furniture.numbers import fixed
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.models import Movement, Place
from inventory.staff.queries import ACCOUNTANT, BENCH, OWNER, roles_of
from inventory.weighing.queries import traced
from inventory.weighing.sums.traced import MassUncertainty, Replay
from returns.arriving import rules as arriving
from returns.arriving.pages.parcels import SlipField
from returns.asking import queries as asking
from returns.bench import rules as scanned_frames
from returns.bench.pages.attempts import FrameForm, hand_facts
from returns.bench.pages.finding import frame_by
from returns.bench.queries import frames
from returns.bench.queries.queue import WAITING
from returns.filing.rules import photos
from returns.grading.pages import thresholds, wording
from returns.grading.rules import lookover
from returns.grading.rules.lookover import REASON_LENGTH_MAX, Evidence
from returns.models import Grading, Photo, Request, ReturnedFrame
from returns.models.filing import Wish
from returns.models.gradings import Outcome
from returns.models.mending import RepairJob
from returns.regrind.rules import stripdown
from returns.salvage.queries import donors as salvage
from returns.story.sums.states import REGRADABLE, FrameState

ASSIGNABLE = REGRADABLE | {FrameState.MENDING, FrameState.MENDED, FrameState.TO_RETURN}

_GOES_BACK = (FrameState.TO_RETURN, FrameState.POSTED_AS_IS)

NEXT_WORDS = {
    FrameState.WEIGHED: _("Look it over"),
    FrameState.HELD: _("Look it over again"),
    FrameState.TO_MEND: _("Mend it"),
    FrameState.MENDING: _("Go on mending"),
    FrameState.MENDED: _("Post it"),
    FrameState.TO_STRIP: _("Strip it"),
    FrameState.TO_RETURN: _("Post it back as it is"),
}


# What "not to be mended" means for a frame: its customer's wish says it.
_UNMENDED = {
    "": _("It cannot be mended (record the customer's wish first)"),
    Wish.REGRIND: _("It cannot be mended: take it apart and grind it"),
    Wish.POST_BACK: _("It cannot be mended: post it back as it is"),
}


class OverruleForm(FrameForm):
    outcome = forms.ChoiceField(
        label=_("Decide instead"), choices=Outcome.choices, widget=forms.RadioSelect
    )
    reason = forms.CharField(
        label=_("Because"),
        max_length=REASON_LENGTH_MAX,
        help_text=_("It stays beside what was computed. Name no customer here."),
    )

    def say_for(self, frame: ReturnedFrame) -> None:
        """Name each decision by what it leads to for this frame."""
        choices: Any = self.fields["outcome"]
        choices.choices = [
            (Outcome.REPAIR, _t("Mend it")),
            (Outcome.REGRIND, _UNMENDED.get(frame.wish, _UNMENDED[""])),
            (Outcome.HOLD, _t("Keep it on the hold shelf")),
        ]


class WishForm(FrameForm):
    wish = forms.ChoiceField(
        label=_("If it cannot be mended, the customer wants us to"),
        choices=Wish.choices,
        widget=forms.RadioSelect,
    )
    evidence = forms.ChoiceField(label=_("We were told"), choices=Evidence.choices)


class AssignForm(ActionForm):
    request = SlipField(
        label=_("Reference of the request"),
        help_text=_("The customer told it, or found it in our letter."),
    )

    def clean_request(self) -> Request:
        data: Request | None = self.cleaned_data["request"]
        if data is None:
            raise forms.ValidationError(_t("Type the reference of the request."))
        return data


class UnstripForm(ActionForm):
    reason = forms.CharField(
        label=_("Why the strip-down is undone"),
        max_length=stripdown.REASON_LENGTH_MAX,
        help_text=_("It is kept with the reversal. Name no customer here."),
    )


class UnweighForm(ActionForm):
    reason = forms.CharField(
        label=_("Why the weigh-in is undone"),
        max_length=200,
        help_text=_("It is kept with the reversal. Name no customer here."),
    )


@require_safe
@allow(BENCH, ACCOUNTANT, OWNER)
def frame(request: StaffRequest, tag: str) -> HttpResponse:
    return _shown(request, frame_by(tag))


@require_POST
@allow(BENCH, OWNER)
def overrule(request: StaffRequest, tag: str) -> HttpResponse:
    """Decide otherwise than the sums, with a reason."""
    return _done(request, tag, OverruleForm(request.POST), lookover.overrule)


@require_POST
@allow(BENCH, OWNER)
def wish(request: StaffRequest, tag: str) -> HttpResponse:
    """Record what the customer wants, and how we know."""
    return _done(request, tag, WishForm(request.POST), lookover.record_wish)


@require_POST
@allow(BENCH, OWNER)
def assign(request: StaffRequest, tag: str) -> HttpResponse:
    """Give a frame that came without a slip to its story."""
    return _done(request, tag, AssignForm(request.POST), arriving.assign)


@require_POST
@allow(BENCH, OWNER)
def unweigh(request: StaffRequest, tag: str) -> HttpResponse:
    """Undo a weigh-in that went wrong."""
    return _done(request, tag, UnweighForm(request.POST), arriving.unweigh)


@require_POST
@allow(BENCH, OWNER)
def unstrip(request: StaffRequest, tag: str) -> HttpResponse:
    """Undo a strip-down while its box is as it left it."""
    return _done(request, tag, UnstripForm(request.POST), stripdown.undo)


@require_POST
@allow(BENCH, OWNER)
def hand(request: StaffRequest, tag: str) -> HttpResponse:
    """Take a frame in hand, or put it down."""
    form = ActionForm(request.POST)
    if not form.is_valid():
        raise BadInput(_t("This form was incomplete. Open the frame's page and press again."))
    is_put_down = request.POST.get("hand") == "down"
    rule = scanned_frames.put_down if is_put_down else scanned_frames.take_in_hand
    data = frame_by(tag)
    rule(key=form.cleaned_data["key"], frame=data, at=timezone.now(), by=request.user)
    return redirect("frame", data.tag)


def _done(request: StaffRequest, tag: str, form: ActionForm, rule: Any) -> HttpResponse:
    data = frame_by(tag)
    if form.is_valid():
        carried = ("key", "seen_version")
        facts = {name: value for name, value in form.cleaned_data.items() if name not in carried}
        if form.attempt(rule, frame=data, at=timezone.now(), by=request.user, **facts) is not None:
            messages.success(request, _DONE[type(form)])
            return redirect("frame", data.tag)
    return _shown(request, data, form)


_DONE: dict[type[ActionForm], Any] = {
    OverruleForm: _("It is decided so."),
    WishForm: _("The wish is recorded."),
    AssignForm: _("The frame belongs to its request now."),
    UnweighForm: _("The weigh-in is undone; the tag is void and the parcel is open again."),
    UnstripForm: _("The strip-down is undone: it is whole in the books, and to be stripped."),
}


def _shown(
    request: StaffRequest, shown: ReturnedFrame, tried: ActionForm | None = None
) -> HttpResponse:
    version = frames.version_of(shown.tag)
    data, replay = frames.story(shown), traced.story_of(shown.tag)
    may_act = bool(roles_of(request.user) & {BENCH, OWNER})
    names = wording.part_names() if data.latest else {}
    facts = {
        "frame": shown,
        "is_promised": shown.state in WAITING,
        "story": data,
        "state": wording.STATES.get(shown.state, shown.state),
        "wish": wording.WISHES.get(shown.wish, shown.wish),
        "next": _next(shown) if may_act else None,
        "decision": decision(data.latest, names) if data.latest else None,
        "was_given_up": data.latest is not None
        and any(
            job.state == RepairJob.State.ABANDONED and job.grading_id == data.latest.pk
            for job in data.jobs
        ),
        "earlier": [decision(one, names) for one in data.gradings[1:]],
        "mass": _mass(shown),
        "held": _held(data, replay),
        "history": [{"it": action, "words": wording.event(action.name)} for action in data.events],
        "movements": [_movement(one, replay) for one in data.movements],
        "photos": shown.request.photos.filter(number=shown.number or 1).order_by("added_at")[:10]
        if shown.request
        else [],
        "may_act": may_act,
        # Where looking over is the next step anyhow, a second link to it would only confuse.
        "may_look_again": may_act
        and shown.state in REGRADABLE
        and frames.NEXT_PAGE[shown.state] != "frame-look",
        "may_discard": may_act
        and shown.state == FrameState.HELD
        and shown.wish == Wish.REGRIND
        and stripdown.may_be_discarded(shown),
        "undo_obstacle": stripdown.undo_obstacle(shown)
        if may_act and shown.state == FrameState.BOXED
        else "",
        "asked": (asked := next(iter(asking.of_frame(shown)), None)),
        "may_ask": may_act and asked is None and asking.may_ask(shown),
        "part_promises": salvage.promises_of(shown),
        "tried": tried,
        **hand_facts(request, shown),
        **_forms(shown, tried, may_act, data.latest, version),
    }
    status = 422 if tried is not None else 200
    return render(request, "returns/bench/frame.html", facts, status=status)


def _forms(
    shown: ReturnedFrame,
    tried: ActionForm | None,
    may_act: bool,
    latest: Grading | None,
    version: int,
) -> dict[str, Any]:
    """Return the forms that fit the frame's state; a refused one keeps what was typed."""
    open_ = may_act and shown.state in REGRADABLE
    carried = {"seen_version": version}
    blank = {
        "overrule_form": OverruleForm(auto_id="overrule_%s", initial=carried)
        if open_ and latest
        else None,
        "wish_form": WishForm(auto_id="wish_%s", initial=carried) if open_ else None,
        "assign_form": AssignForm(auto_id="assign_%s")
        if may_act and shown.request is None and shown.state in ASSIGNABLE
        else None,
        "unstrip_form": UnstripForm(auto_id="unstrip_%s")
        if may_act and shown.state == FrameState.BOXED and not stripdown.undo_obstacle(shown)
        else None,
        "unweigh_form": UnweighForm(auto_id="unweigh_%s")
        if may_act and shown.state == FrameState.WEIGHED
        else None,
    }
    forms_shown = blank if tried is None else blank | {_NAMES[type(tried)]: tried}
    if isinstance(one := forms_shown["overrule_form"], OverruleForm):
        one.say_for(shown)
    return forms_shown


_NAMES: dict[type[ActionForm], str] = {
    OverruleForm: "overrule_form",
    WishForm: "wish_form",
    AssignForm: "assign_form",
    UnstripForm: "unstrip_form",
    UnweighForm: "unweigh_form",
}


def _next(shown: ReturnedFrame) -> dict[str, Any] | None:
    """Return the one next step, when its page is installed."""
    page = frames.NEXT_PAGE.get(shown.state)
    if page is None:
        return None
    try:
        return {
            "path": reverse(page, args=[shown.tag]),
            "words": NEXT_WORDS[FrameState(shown.state)],
        }
    except NoReverseMatch:
        return None


def _movement(one: Movement, replay: Replay) -> dict[str, Any]:
    """Word a movement, each posting with the uncertainty of its mass."""
    moved = {
        line: mass.known() for (number, line), mass in replay.moved.items() if number == one.number
    }
    return {
        "it": one,
        "words": wording.MOVEMENTS.get(one.kind, one.kind),
        "postings": [(posting, moved.get(posting.line)) for posting in one.postings.all()],
    }


def _held(data: frames.Story, replay: Replay) -> list[tuple[Place, int, MassUncertainty | None]]:
    """Return where something of the frame lies, with the uncertainty of that mass."""
    uncertainties = traced.held_by(replay)
    return [
        (place, mass_mg, uncertainties.get(place.code))
        for place, mass_mg in data.whereabouts.items()
    ]


def _mass(shown: ReturnedFrame) -> dict[str, Any]:
    fits = shown.massfit.get("fits", [])
    return {
        "verdict": wording.mass_verdict(shown.massfit) if shown.massfit else "",
        "fits": [
            {
                "words": wording.explanation(fit),
                "expected_mg": fit["expected_mg"],
                "u_mg": fit["u_mg"],
                "z": fit["z"],
                "share": wording.percent(fit["posterior"]),
            }
            for fit in fits
        ],
        "ratio": shown.massfit.get("ratio"),
    }


def decision(
    grading: Grading, names: dict[str, str], seen: Iterable[Any] | None = None
) -> dict[str, Any]:
    """One grading in words and figures, as it was kept; what was `seen` if it is not written."""
    sums = grading.sums
    currency = sums["facts"]["currency"]
    return {
        "it": grading,
        "decided": _decided(grading),
        "computed": wording.OUTCOMES[grading.computed],
        "disposition": wording.DISPOSITIONS.get(sums["disposition"], ""),
        "reasons": [wording.reason(one, currency, names) for one in sums["reasons"]],
        "polymer": wording.POLYMERS.get(sums["facts"]["polymer"], ""),
        "findings": [_finding(one) for one in (grading.findings.all() if seen is None else seen)],
        "figures": sums["figures"],
        "plan": _plan(sums["plan"], names),
        "is_followed": not grading.overrule_reason or grading.decided == Outcome.REPAIR,
        "alternatives": [_plan(plan, names) for plan in sums["alternatives"]],
        "refusals": [
            {
                "name": one["name"],
                "component": wording.component(one["component"]),
                "why": wording.reason(one["reason"], currency, names),
            }
            for one in sums["refusals"]
        ],
        "thresholds": thresholds.rows(sums.get("tippings", []), currency, names),
        "never_changes": thresholds.never(sums.get("tippings", []), names),
        "facts": sums["facts"],
        "currency": currency,
    }


def _decided(grading: Grading) -> Any:
    """Word the outcome; a frame given up and wanted back is named by where it goes."""
    if grading.decided == Outcome.REGRIND and grading.frame.state in _GOES_BACK:
        return _t("Post it back as it is")
    return wording.OUTCOMES[grading.decided]


def _finding(one: Any) -> dict[str, Any]:
    measured = "" if one.measured_um is None else f"{fixed(one.measured_um / 1000, 3)} mm"
    return {
        "component": wording.component(one.component),
        "defect": wording.defect(one.defect),
        "measured": measured,
    }


def _plan(plan: dict[str, Any] | None, names: dict[str, str]) -> dict[str, Any] | None:
    if plan is None:
        return None
    return plan | {"remedies": [_remedy(one, names) for one in plan["remedies"]]}


def _remedy(one: dict[str, Any], names: dict[str, str]) -> dict[str, Any]:
    kept = one.get("evidence")
    return one | {
        "where": wording.component(one["component"]),
        "takes": wording.parts(one["parts"], names),
        "evidence": wording.evidence(kept) if kept else [],
    }


@require_safe
@allow(BENCH, OWNER)
def photo(request: StaffRequest, file_name: str) -> HttpResponse:
    """Send a customer's picture. Only names that the table knows are ever opened."""
    del request
    known = Photo.objects.filter(file_name=file_name).first()
    if known is None:
        raise NotFound()
    return HttpResponse(photos.read(known.file_name), content_type="image/jpeg")

"""Asking a customer from a frame's page, and answering behind the private link."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import get_language_info
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST

from inventory import clock
from inventory.errors import BadInput, NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.staff.queries import BENCH, OWNER
from returns.asking import queries, rules
from returns.asking.rules import ANSWER_LENGTH_MAX, CHOICES, TEXT_LENGTH_MAX, Answer, Asked
from returns.bench.pages.finding import frame_by
from returns.filing.pages.forms import Chosen, PhotoInput, PhotosField
from returns.filing.rules import intake
from returns.filing.rules.photos import SIDE_PX_MAX, Picture
from returns.furniture import limits
from returns.models import Question, ReturnedFrame
from returns.story.pages.personal import personal

TOO_MANY = 429


class PhotoField(PhotosField):
    """At most one photo."""

    widget = PhotoInput(
        attrs={
            "accept": "image/jpeg,image/png,image/webp,image/heic,image/heif",
            "data-shrink": SIDE_PX_MAX,
        }
    )


class PhotoForm(ActionForm):
    """A form with one photo, which may be left out."""

    @property
    def picture(self) -> Picture | None:
        chosen: Chosen = self.cleaned_data["photo"]
        return chosen.pictures[0] if chosen.pictures else None

    def clean_photo(self) -> Chosen:
        chosen: Chosen = self.cleaned_data["photo"]
        for slip in chosen.slips:
            self.add_error("photo", slip)
        return chosen


class AskForm(PhotoForm):
    text = forms.CharField(
        label=_("What do you want to know?"),
        max_length=TEXT_LENGTH_MAX,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    choices = forms.CharField(
        label=_("Answers to choose from"),
        required=False,
        max_length=CHOICES[-1] * 90,
        help_text=_("One on each line. Empty: the customer answers in their own words."),
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    photo = PhotoField(
        label=_("Photo"), required=False, help_text=_("Show what you mean. No faces, no address.")
    )

    def asked(self) -> Asked:
        return Asked(self.cleaned_data["text"], self.cleaned_data["choices"].splitlines())


class AnswerForm(PhotoForm):
    """The fields that one question asks for."""

    chosen = forms.ChoiceField(label=_("Your answer"), required=False, widget=forms.RadioSelect)
    text = forms.CharField(
        label=_("In your own words"),
        required=False,
        max_length=ANSWER_LENGTH_MAX,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    photo = PhotoField(label=_("Photo"), required=False)

    def __init__(self, question: Question, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        if question.choices:
            choice: Any = self.fields["chosen"]
            choice.choices = [(one, one) for one in question.choices]
            choice.required = True
            choice.error_messages["required"] = _t("Choose one of the answers.")
        else:
            del self.fields["chosen"]
            self.fields["text"].label = _t("Your answer")

    def said(self) -> Answer:
        return Answer(self.cleaned_data.get("chosen", ""), self.cleaned_data["text"])


class ToldForm(AnswerForm):
    """The same, written down at the bench for a customer who told it."""

    def __init__(self, question: Question, *args: Any, **facts: Any) -> None:
        super().__init__(question, *args, **facts)
        del self.fields["photo"]
        self.fields["text"].label = _t("What the customer told us")
        if "chosen" in self.fields:
            self.fields["chosen"].label = _t("The customer's answer")

    @property
    def picture(self) -> None:
        return None


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def ask(request: StaffRequest, tag: str) -> HttpResponse:
    """Ask the customer about a frame, and what was asked before."""
    frame = frame_by(tag)
    form = AskForm(request.POST, request.FILES) if request.method == "POST" else AskForm()
    if form.is_bound and form.is_valid():
        made = form.attempt(
            rules.ask,
            frame=frame,
            asked=form.asked(),
            picture=form.picture,
            at=timezone.now(),
            by=request.user,
        )
        if made is not None:
            messages.success(request, _t("The question is asked. The frame waits for the answer."))
            return redirect("frame-ask", frame.tag)
    return _shown(request, frame, ask=form)


@require_POST
@allow(BENCH, OWNER)
def told(request: StaffRequest, tag: str) -> HttpResponse:
    """Write down an answer that the customer told us."""
    frame, question = _open(tag)
    form = ToldForm(question, request.POST, auto_id="told_%s")
    if form.is_valid():
        done = form.attempt(
            rules.answer, question=question, said=form.said(), at=timezone.now(), by=request.user
        )
        if done is not None:
            messages.success(request, _t("The answer is noted. The frame goes on."))
            return redirect("frame", frame.tag)
    return _shown(request, frame, told=form)


@require_POST
@allow(BENCH, OWNER)
def withdraw(request: StaffRequest, tag: str) -> HttpResponse:
    """Take the open question back."""
    frame, question = _open(tag)
    form = ActionForm(request.POST)
    if not form.is_valid():
        raise BadInput(_t("This form was incomplete. Open the frame's page and press again."))
    rules.withdraw(
        key=form.cleaned_data["key"], question=question, at=timezone.now(), by=request.user
    )
    messages.success(request, _t("The question is withdrawn. The frame goes on."))
    return redirect("frame", frame.tag)


def _open(tag: str) -> tuple[ReturnedFrame, Question]:
    """The frame and the question that a press was meant for, which may be closed by now."""
    frame = frame_by(tag)
    question = frame.questions.select_related("request", "frame").order_by("-pk").first()
    if question is None:
        raise NotFound()
    return frame, question


def _shown(request: StaffRequest, frame: ReturnedFrame, **tried: Any) -> HttpResponse:
    asked = queries.of_frame(frame)
    waiting = next((one for one in asked if one.is_open), None)
    person = frame.request.person if frame.request else None
    facts = {
        "frame": frame,
        "waiting": waiting,
        "asked": [one for one in asked if not one.is_open],
        "form": tried.get("ask") or AskForm(),
        "told_form": tried.get("told")
        or (ToldForm(waiting, auto_id="told_%s") if waiting else None),
        "withdraw_form": ActionForm(auto_id="withdraw_%s"),
        "may_ask": queries.may_ask(frame),
        "language": _language(person.language) if person else "",
        "has_email": bool(person and person.email),
    }
    failed = any(form.is_bound and form.errors for form in tried.values())
    return render(request, "returns/bench/ask.html", facts, status=422 if failed else 200)


def _language(code: str) -> str:
    try:
        return str(get_language_info(code)["name_translated"])
    except KeyError:
        return code


@require_http_methods(["GET", "HEAD", "POST"])
@personal
def answer(request: HttpRequest, secret: str, number: int) -> HttpResponse:
    """Answer a question; one that is closed says so."""
    filed = intake.by_secret(secret)
    rows = filed.questions.select_related("request", "frame").prefetch_related("photos")
    question = rows.filter(pk=number).first()
    if question is None:
        raise NotFound()
    if request.method == "POST" and not limits.may_answer(filed.reference):
        error = BadInput(_t("Too many tries. Wait an hour and try again."))
        return render(request, "hingeback/refused.html", {"error": error}, status=TOO_MANY)
    form = AnswerForm(question, request.POST or None, request.FILES or None)
    if question.is_open and form.is_valid():
        done = form.attempt(
            rules.answer,
            question=question,
            said=form.said(),
            picture=form.picture,
            at=timezone.now(),
        )
        if done is not None:
            return redirect("story", secret)
        question = rows.get(pk=number)
    facts = {"form": form, "filed": filed, "secret": secret, "one": question}
    facts["today"] = clock.day_of(timezone.now())
    return render(request, "returns/customer/answer.html", facts)

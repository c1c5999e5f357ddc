"""Behind the private link: it is in the post, wake it, another email, the mail once more."""

from __future__ import annotations

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from inventory.errors import BadInput
from inventory.furniture.pages.forms import ActionForm
from returns.filing.rules import intake, reaching, underway
from returns.furniture import limits
from returns.story.pages.personal import personal
from returns.story.pages.story import once_confirmed

TOO_MANY = 429


class PostedForm(ActionForm):
    """Saying that the parcel is in the post."""

    number = forms.CharField(
        label=_("Number of the parcel"),
        max_length=underway.NUMBER_LENGTH_MAX,
        required=False,
        help_text=_("On the carrier's receipt, if there is one. It may stay empty."),
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )


class EmailForm(ActionForm):
    """Putting the email right."""

    email = forms.EmailField(
        label=_("Email"),
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
        error_messages={"required": _("Enter an email address, such as name@example.org.")},
    )


@require_http_methods(["GET", "HEAD", "POST"])
@personal
def posted(request: HttpRequest, secret: str) -> HttpResponse:
    """The customer has posted the frame."""
    filed = intake.by_secret(secret)
    form = PostedForm(request.POST or None, initial={"number": filed.carrier_number})
    if form.is_valid():
        number, at = form.cleaned_data["number"], timezone.now()
        if form.attempt(underway.say_posted, request=filed, number=number, at=at) is not None:
            return redirect("story", secret)
    facts = {"form": form, "filed": filed, "secret": secret}
    return render(request, "returns/customer/posted.html", facts)


@require_http_methods(["GET", "HEAD", "POST"])
@personal
def wake(request: HttpRequest, secret: str) -> HttpResponse:
    """The frame will be sent after all."""
    return once_confirmed(request, secret, underway.revive, "wake.html")


@require_http_methods(["GET", "HEAD", "POST"])
@personal
def email(request: HttpRequest, secret: str) -> HttpResponse:
    """Another email in the place of the one that was filed."""
    filed = intake.by_secret(secret)
    person = intake.person_of(filed)
    # Each press sends a mail to an address that may be somebody else's: few an hour, for each
    # request.
    if request.method == "POST" and not limits.may_write(filed.reference):
        return _too_many(request)
    form = EmailForm(request.POST or None, initial={"email": person.email})
    if form.is_valid():
        typed, at = form.cleaned_data["email"], timezone.now()
        if form.attempt(reaching.change_email, request=filed, email=typed, at=at) is not None:
            return redirect("story", secret)
    facts = {"form": form, "filed": filed, "secret": secret}
    return render(request, "returns/customer/email.html", facts)


@require_http_methods(["GET", "HEAD", "POST"])
@personal
def again(request: HttpRequest, secret: str) -> HttpResponse:
    """Our mail once more."""
    filed = intake.by_secret(secret)
    intake.person_of(filed)
    if request.method == "POST" and not limits.may_write(filed.reference):
        return _too_many(request)
    return once_confirmed(request, secret, reaching.send_again, "again.html")


def _too_many(request: HttpRequest) -> HttpResponse:
    error = BadInput(_t("Too many tries. Wait an hour and try again."))
    return render(request, "hingeback/refused.html", {"error": error}, status=TOO_MANY)

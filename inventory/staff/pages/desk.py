"""The desk: after signing in, the jobs of one's roles as large cards."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.module_loading import import_string
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache

from inventory.furniture.pages import frame
from inventory.staff.queries import ACCOUNTANT, BENCH, OWNER


@dataclass(frozen=True)
class Job:
    """A card: the URL name it opens, what it is called and what one does there."""

    door: str
    name: str | Promise
    text: str | Promise

    @property
    def path(self) -> str:
        return frame.address(self.door)


@dataclass(frozen=True)
class Note:
    """A line of what waits today, and the path of where to go for it.

    An alarm is for what loses data or letters if nobody acts; it is shown in red.
    """

    text: str
    path: str
    is_urgent: bool = False
    is_alarm: bool = False


_JOBS: dict[str, tuple[Job, ...]] = {
    BENCH: (
        Job("bench", _("Today at the bench"), _("What waits, what is next, what is on hold.")),
        Job("parcel-book", _("Book a parcel"), _("Weigh what the post brought.")),
        Job("kits", _("Pack spare screws"), _("Kits that are promised and not posted yet.")),
        Job("boxes", _("Regrind boxes"), _("What each box holds, and the runs that empty them.")),
        Job("stock", _("Stock and counts"), _("Flake, scrap and spare parts; count and receive.")),
    ),
    ACCOUNTANT: (
        Job("months", _("Months"), _("Check, close, and fetch the recovered-material report.")),
        Job("books", _("Books"), _("The journal for your program, accounts, trial balances.")),
    ),
    OWNER: (
        Job(
            "owner",
            _("How we are doing"),
            _("Our promise, what comes back and why, how circular we are."),
        ),
        Job(
            "lifetimes", _("What comes next"), _("How long frames last, and which parts to order.")
        ),
        Job("claims", _("What may be said"), _("Each sentence for the public with its evidence.")),
        Job(
            "setup", _("Set up the workshop"), _("What is entered, and what a first return needs.")
        ),
        Job("people", _("People"), _("Logins for the bench and the accounts.")),
    ),
}
_ROLE_NAMES = {BENCH: _("Bench"), ACCOUNTANT: _("Accounts"), OWNER: _("Owner")}


@login_required
@never_cache
def home(request: HttpRequest) -> HttpResponse:
    """Cards of every role the visitor holds; somebody without a role is told whom to ask."""
    held = frame.roles(request)
    rooms = [
        {
            "name": _ROLE_NAMES[role],
            # A page that is not installed has no address, and no card.
            "jobs": [job for job in jobs if job.path],
            "notes": _notes(role),
        }
        for role, jobs in _JOBS.items()
        if role in held
    ]
    return render(request, "hingeback/door/desk.html", {"rooms": rooms})


def _notes(role: str) -> list[Note]:
    """What the other room has to say to a role today; wired in the settings."""
    # By a dotted path, for this room stands beneath the one that knows the answer and must not
    # import it.
    dotted = settings.DESK_NOTES.get(role)
    return list(import_string(dotted)(timezone.now())) if dotted else []

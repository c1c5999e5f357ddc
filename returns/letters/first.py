"""The first mail's own paragraphs: what was filed, where to post it, by when, what it costs.

Each paragraph is whole: what a customer typed is in it, and is never taken for a text to fill in.
"""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.models import Workshop
from returns.filing.pages.forms import country_name, sent_abroad_to, troubles_in_words
from returns.filing.queries import frames as filed_frames
from returns.filing.queries import terms, waiting
from returns.filing.queries.frames import FiledFrame
from returns.models import Request
from returns.story.queries.story import day_words


def what_was_filed(request: Request) -> str:
    """Return every answer of the form, a line each."""
    lines = [_("What you filed:")]
    filed = filed_frames.of(request)
    for one in filed:
        label = _("Frame %(number)s") % {"number": one.number} if len(filed) > 1 else _("Frame")
        lines += [_line(label, one.words), *_of_one(one)]
    photos = request.photos.count()
    if photos:
        lines.append(_line(_("Photos"), str(photos)))
    person = request.person
    if person is not None:
        parts = [*person.address_lines(), country_name(person.country)]
        lines.append(_line(_("Your address"), ", ".join(parts)))
    return "\n".join(lines)


def _of_one(frame: FiledFrame) -> list[str]:
    lines = [_line(_("What is wrong"), trouble) for trouble in troubles_in_words(frame)]
    if frame.note:
        # Line breaks would make the list unreadable, and could pass for lines of ours.
        lines.append(_line(_("In your words"), " ".join(frame.note.split())))
    if frame.wish:
        lines.append(_line(_("If it cannot be mended"), frame.wish_words))
        back = _("posted back to you") if frame.lenses_back else _("not needed back")
        lines.append(_line(_("Your lenses"), back))
    return lines


def _line(label: str, value: str) -> str:
    return _("%(label)s: %(value)s") % {"label": label, "value": value}


def where_to_post(request: Request, workshop: Workshop) -> str:
    """Return the workshop's postal address, ready to be copied."""
    lines = [_("Post it to:"), workshop.name, *workshop.address.splitlines()]
    country = sent_abroad_to(request)
    if country:
        lines.append(country)
    return "\n".join(lines)


def where_we_are(workshop: Workshop) -> str:
    """Return where the counter is."""
    return "\n".join([_("You find us here:"), workshop.name, *workshop.address.splitlines()])


def by_when(request: Request) -> str:
    """Say until which day the parcel is awaited."""
    return _(
        "Please post it so that it is here by %(day)s. After that day your request rests; the "
        "link below wakes it again."
    ) % {"day": day_words(waiting.last_day(request))}


def which_frames(request: Request) -> str:
    """Thank for what is on its way, and name it."""
    filed = filed_frames.of(request)
    if len(filed) == 1:
        return _("Thank you. You are sending us your frame back: %(frame)s.") % {
            "frame": filed[0].words
        }
    return _("Thank you. You are sending us %(count)s frames back: %(frames)s.") % {
        "count": len(filed),
        "frames": "; ".join(f"{one.number}. {one.words}" for one in filed),
    }


def how_to_pack(request: Request) -> str:
    """Say how the frames are kept from harm on the way."""
    if len(filed_frames.of(request)) == 1:
        return _("Pack the frame so that nothing presses on it, and wrap broken ends.")
    return _(
        "Pack all frames into one parcel with the one slip, each wrapped by itself so that nothing "
        "presses on it, and wrap broken ends."
    )


def what_it_costs(request: Request) -> str:
    """Say who pays what, in a paragraph."""
    return " ".join(terms.cost_words(terms.cost_kind(request)))


def what_comes_next(workshop: Workshop) -> str:
    """Tell the way of a frame in two sentences, with the days promised."""
    days = workshop.promise_days
    return ngettext(
        "What happens next: we write when it has arrived, then we look it over and write what we "
        "decided. We mean to be done %(days)s day after it came.",
        "What happens next: we write when it has arrived, then we look it over and write what we "
        "decided. We mean to be done %(days)s days after it came.",
        days,
    ) % {"days": days}

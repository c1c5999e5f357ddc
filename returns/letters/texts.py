"""What each letter says, from what is true when it is sent. Every word may be translated."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.furniture import numbers
from inventory.models import Workshop
from returns.filing.queries import frames as filed_frames
from returns.filing.rules import intake
from returns.letters import first
from returns.models import Dispatch, PartnerSlip, Question, Request, ReturnedFrame
from returns.models.filing import Wish
from returns.models.gradings import Outcome
from returns.story.queries.story import day_words, ground_words, mended_parts
from returns.story.sums.states import FrameState


@dataclass(frozen=True, slots=True)
class Letter:
    """A letter to be: one subject line, plain paragraphs, and the one link that it carries."""

    subject: str
    paragraphs: tuple[str, ...]
    link_label: str
    link: str


@dataclass(frozen=True, slots=True)
class Occasion:
    """Who is written to about what."""

    request: Request
    frame: ReturnedFrame | None
    workshop: Workshop
    question: Question | None = None

    @property
    def names(self) -> dict[str, str]:
        """What the texts may mention."""
        request, day = self.request, self.request.promised_by
        model = request.colourway.model.code if request.colourway else ""
        guide = reverse("guide", args=[model]) if model else ""
        return {
            "reference": request.reference,
            "tag": self.frame.tag if self.frame else "",
            "frame": self.frame_words,
            "workshop": self.workshop.name,
            "email": self.workshop.email,
            "days": str(self.workshop.retention_days),
            "day": day_words(day) if day else "",
            "promise": day_words(self.frame.promised_by) if self.frame else "",
            "guide": f"{settings.BASE_URL}{guide}",
        }

    @property
    def frame_words(self) -> str:
        """The frame that it is about; without one, every frame of the request."""
        filed = filed_frames.of_returned(self.frame) if self.frame else None
        rows = [filed] if filed else filed_frames.of(self.request)
        return "; ".join(one.words for one in rows)

    @property
    def which_frame(self) -> list[str]:
        """Of several frames in a request, which one a letter speaks of."""
        filed = filed_frames.of_returned(self.frame) if self.frame else None
        if filed is None or self.frame is None or not self.request.further_frames.exists():
            return []
        named = {"number": filed.number, "frame": filed.words, "tag": self.frame.tag}
        return [_("This is about frame %(number)s: %(frame)s, with the tag %(tag)s.") % named]


Words = tuple[str, list[str]]


def compose(letter: str, occasion: Occasion) -> Letter:
    """Write the letter in the language that is active. KeyError for a letter without words."""
    subject, paragraphs = _WORDS[letter](occasion)
    # The link is made when the letter is, and no usable secret is stored on the way.
    secret = intake.renewed_secret(occasion.request)
    return Letter(
        # A subject is one line. The mail library refuses any other as header injection, and the
        # letter would never go out.
        subject=" ".join((subject % occasion.names).split()),
        paragraphs=(
            *(occasion.which_frame if letter != "arrived" else []),
            *(paragraph % occasion.names for paragraph in paragraphs),
        ),
        link_label=_("See the whole story and what you can do"),
        link=f"{settings.BASE_URL}{reverse('story', args=[secret])}",
    )


def _filed(occasion: Occasion) -> Words:
    request, workshop = occasion.request, occasion.workshop
    if request.kind == Request.Kind.SCREWS:
        return (
            _("We have your request for spare screws, %(reference)s"),
            [
                _("Thank you. A kit for your frame (%(frame)s) is set aside for you."),
                *_promised(occasion),
                _whole(first.what_was_filed(request)),
                _whole(first.what_it_costs(request)),
                _("We write again when it is in the post."),
            ],
        )
    is_one = not request.further_frames.exists()
    slip = PartnerSlip.objects.filter(request=request).select_related("partner").first()
    if slip is not None:
        return _filed_by_slip(occasion, slip)
    return (
        _("We await your frame, %(reference)s")
        if is_one
        else _("We await your frames, %(reference)s"),
        [
            _whole(first.which_frames(request)),
            _whole(first.where_to_post(request, workshop)),
            _whole(first.by_when(request)),
            _whole(first.how_to_pack(request)),
            _(
                "Print the slip from the page below, or write the reference %(reference)s on a "
                "piece of paper, and put it in the parcel."
            ),
            _whole(first.what_it_costs(request)),
            _whole(first.what_comes_next(workshop)),
            _whole(first.what_was_filed(request)),
        ],
    )


def _filed_by_slip(occasion: Occasion, slip: PartnerSlip) -> Words:
    request = occasion.request
    told = [
        _whole(first.what_it_costs(request)),
        _whole(first.what_comes_next(occasion.workshop)),
        _whole(first.what_was_filed(request)),
    ]
    if slip.arrived_at is not None:
        return (
            _("We have your frame and your request, %(reference)s"),
            [
                _("Thank you. Your frame (%(frame)s) came to us before; now we know whose it is."),
                *told,
            ],
        )
    return (
        _("We await your frame, %(reference)s"),
        [
            _whole(first.which_frames(request)),
            _whole(_left_at(slip)),
            _whole(first.how_to_pack(request)),
            *told,
        ],
    )


def _taken_in(occasion: Occasion) -> Words:
    request, frame = occasion.request, occasion.frame
    mass = numbers.mass_words(frame.reading.mass_mg) if frame else ""
    weighed = _("Your frame (%(frame)s) has the tag %(tag)s and weighs %(mass)s.")
    return (
        _("We have taken your frame in, %(reference)s"),
        [
            _("Thank you for coming to our counter."),
            weighed.replace("%(mass)s", _whole(mass)),
            _("We mean to be done by %(promise)s."),
            _whole(first.what_was_filed(request)),
            _whole(first.what_it_costs(request)),
        ],
    )


def _whole(paragraph: str) -> str:
    """A paragraph that is worded already: a per cent sign in it stays one."""
    # `compose` fills every paragraph in once more, and a customer's "100 %" would break that.
    return paragraph.replace("%", "%%")


def _promised(occasion: Occasion) -> list[str]:
    if occasion.request.promised_by is None:
        return []
    return [_("We mean to post it by %(day)s.")]


def _waiting_stock(occasion: Occasion) -> Words:
    return (
        _("Your spare screws have to wait for stock, %(reference)s"),
        [
            _("Your request is noted, but the screws for your frame (%(frame)s) are used up."),
            _("You need do nothing: the next ones are yours, in the order of asking."),
            _whole(first.what_was_filed(occasion.request)),
            _whole(first.what_it_costs(occasion.request)),
        ],
    )


def _kit_reserved(occasion: Occasion) -> Words:
    return (
        _("Your spare screws are here, %(reference)s"),
        [_("A kit for your frame is set aside for you now."), *_promised(occasion)],
    )


def _kit_posted(occasion: Occasion) -> Words:
    del occasion
    return (
        _("Your spare screws are in the post, %(reference)s"),
        [
            _("We have posted the kit for your frame (%(frame)s) today."),
            _("How to fit them, with pictures: %(guide)s"),
            _(
                "The parts are tiny: keep them away from small children and animals. Turn the "
                "screw until it just holds; plastic threads strip when they are overtightened."
            ),
            _("Should it not have come after two weeks, tell us on the page below."),
        ],
    )


def _missing(occasion: Occasion) -> Words:
    del occasion
    return (
        _("We look into what got lost, %(reference)s"),
        [
            _("Thank you for telling us that it never arrived."),
            _("One of us looks into it and you hear from us."),
        ],
    )


def _address_changed(occasion: Occasion) -> Words:
    del occasion
    return (
        _("The address was changed, %(reference)s"),
        [
            _("The postal address of your request was changed on its page."),
            _("If that was not you, write to %(email)s at once."),
        ],
    )


def _email_changed(occasion: Occasion) -> Words:
    del occasion
    return (
        _("We write to this email from now on, %(reference)s"),
        [
            _("The email of your request was changed to this one on its page."),
            _("If you know nothing of it, write to %(email)s."),
        ],
    )


def _email_left(occasion: Occasion) -> Words:
    del occasion
    return (
        _("We write to another email from now on, %(reference)s"),
        [
            _("The email of your request was changed on its page. This is our last mail to here."),
            _("If that was not you, write to %(email)s at once."),
        ],
    )


def _reminder(occasion: Occasion) -> Words:
    request = occasion.request
    return (
        _("Your frame has not come yet, %(reference)s"),
        [
            _reminding(request),
            *_how_to_send(occasion),
            _("If you do not want to send it any more, withdraw the request on the page below."),
        ],
    )


def _how_to_send(occasion: Occasion) -> list[str]:
    request = occasion.request
    slip = PartnerSlip.objects.filter(request=request).select_related("partner").first()
    if slip is not None:
        return [_whole(_left_at(slip))]
    return [
        _whole(first.where_to_post(request, occasion.workshop)),
        _whole(first.by_when(request)),
    ]


def _left_at(slip: PartnerSlip) -> str:
    left = _("Leave it, with the slip's other half, at %(partner)s. It comes to us in their box.")
    return left % {"partner": str(slip.partner)}


def _reminding(request: Request) -> str:
    if request.sent_at is None:
        return _("You have filed a frame (%(frame)s) that has not come to us yet.")
    return _(
        "You told us that your frame (%(frame)s) is in the post. It has not come to us yet: "
        "please ask the carrier for it."
    )


def _resting(occasion: Occasion) -> Words:
    del occasion
    return (
        _("Your request rests, %(reference)s"),
        [
            _("Your frame (%(frame)s) has not come, so we do not wait for it any longer."),
            _("You still want to send it? The page below wakes your request again."),
            _("We delete your name and address %(days)s days from now."),
        ],
    )


def _withdrawn(occasion: Occasion) -> Words:
    del occasion
    return (
        _("Your request is withdrawn, %(reference)s"),
        [
            _("You have withdrawn your request. Nothing more happens."),
            _("If your parcel is on its way already, we treat it as your request said."),
            _("We delete your name and address %(days)s days from now."),
        ],
    )


def _find_link(occasion: Occasion) -> Words:
    del occasion
    return (
        _("The link to your request, %(reference)s"),
        [
            _("Somebody, probably you, asked for the link to your request."),
            _("If it was not you, you need do nothing. Nobody else gets this link from us."),
        ],
    )


def _arrived(occasion: Occasion) -> Words:
    frame = occasion.frame
    data = [_weighed_words(frame)]
    # The letter waits some minutes, and the bench may have gone on meanwhile.
    if frame is None or frame.state == FrameState.WEIGHED:
        data.append(_("Next we look it over and decide whether it can be mended."))
    return _("Your frame has arrived, %(reference)s"), data


def _weighed_words(frame: ReturnedFrame | None) -> str:
    """Name each frame of theirs in the parcel: the letter waits, and is sent once for all."""
    if frame is None or frame.request is None:
        return _("Your frame is here and weighed. Its tag is %(tag)s.")
    rows = frame.parcel.frames.filter(request=frame.request).exclude(state=FrameState.VOIDED)
    tags = list(rows.order_by("pk").values_list("tag", flat=True))
    if len(tags) < 2:
        return _("Your frame is here and weighed. Its tag is %(tag)s.")
    words = _("Your frames are here and weighed. Their tags are %(tags)s.")
    return words % {"tags": ", ".join(tags)}


def _empty(occasion: Occasion) -> Words:
    del occasion
    return (
        _("Your parcel arrived without your frame, %(reference)s"),
        [
            _("A parcel with your slip has arrived, but no frame of yours was in it."),
            _("Please look whether it is still with you, and write to %(email)s."),
        ],
    )


def _held(occasion: Occasion) -> Words:
    del occasion
    return (
        _("We look at your frame once more, %(reference)s"),
        [_("Your frame needs a second look before we decide. You hear from us.")],
    )


def _graded(occasion: Occasion) -> Words:
    frame = occasion.frame
    grading = frame.gradings.first() if frame else None
    if grading is not None and grading.decided == Outcome.REPAIR:
        return (
            _("We mend your frame, %(reference)s"),
            [
                _("We have looked your frame over: it can be mended."),
                _("We mean to be done by %(promise)s and write when you can collect it.")
                if occasion.request.collects
                else _(
                    "We mean to be done by %(promise)s and write when it is in the post to you."
                ),
            ],
        )
    return (_("Your frame cannot be mended, %(reference)s"), _unmended(occasion))


def _unmended(occasion: Occasion) -> list[str]:
    looked = _("We have looked your frame over: it cannot be mended so that it would last.")
    # The frame's wish may be newer than the request's: the bench records what a customer says
    # later.
    wish = occasion.frame.wish if occasion.frame else occasion.request.wish
    if wish == Wish.POST_BACK:
        if occasion.request.collects:
            return [looked, _("As you wished, it stays as it is: collect it at our counter.")]
        return [looked, _("As you wished, we post it back to you as it is.")]
    lenses = []
    if occasion.frame and occasion.frame.lenses_back:
        lenses = [
            _("Your lenses come out first; you can collect them at our counter.")
            if occasion.request.collects
            else _("Your lenses come out first, and we post them to you.")
        ]
    return [
        looked,
        _("As you wished, we take it apart and grind it for the next frames."),
        *lenses,
    ]


def _posted_mended(occasion: Occasion) -> Words:
    return (
        _("Your mended frame is in the post, %(reference)s"),
        [
            _("Your frame is mended, has passed its check and is on its way to you."),
            *_what_was_mended(occasion.frame),
            _wear_with_care(),
            _("Should it not have come after two weeks, tell us on the page below."),
        ],
    )


def _wear_with_care() -> str:
    return _(
        "Put it on and look before you rely on it. If it sits askew, has an edge that "
        "scratches, or you see less well than before, do not wear it and write to us; "
        "about your sight ask an optician. How to take care of it is on the page below."
    )


def _what_was_mended(frame: ReturnedFrame | None) -> list[str]:
    parts = mended_parts([frame]) if frame else []
    data = [{"part": one.component, "work": one.work} for one in parts]
    lines = [_("What we did (%(part)s): %(work)s.") % one for one in data]
    # Two steps on one part read alike; each sentence stands once, in the order of the work.
    return [_whole(line) for line in dict.fromkeys(lines)]


def _posted_as_is(occasion: Occasion) -> Words:
    del occasion
    return (
        _("Your frame is on its way back, %(reference)s"),
        [_("As you wished, we have posted your frame back to you as it is.")],
    )


def _lenses_posted(occasion: Occasion) -> Words:
    del occasion
    return (
        _("Your lenses are in the post, %(reference)s"),
        [_("We have taken your lenses out of the frame and posted them to you.")],
    )


def _ready(occasion: Occasion) -> Words:
    return (
        _("Your frame is ready, %(reference)s"),
        [
            _("Your frame is mended and has passed its check. You can collect it at our counter."),
            *_what_was_mended(occasion.frame),
            _whole(first.where_we_are(occasion.workshop)),
            _("Bring your receipt or this mail. We keep it until you come."),
        ],
    )


def _handed_over(occasion: Occasion) -> Words:
    frame = occasion.frame
    last = frame.dispatches.filter(at_counter=True).order_by("-pk").first() if frame else None
    if frame is None or last is None or last.kind != Dispatch.Kind.MENDED:
        return (
            _("Collected at our counter, %(reference)s"),
            [_("You have collected it at our counter. Thank you for coming.")],
        )
    return (
        _("Your mended frame is with you again, %(reference)s"),
        [
            _("You have collected your mended frame at our counter. Thank you for coming."),
            *_what_was_mended(frame),
            _wear_with_care(),
        ],
    )


def _ground(occasion: Occasion) -> Words:
    return (
        _("What your frame has become, %(reference)s"),
        [
            _ground_words(occasion.frame),
            _(
                "The page below says what is moulded from that lot, as soon as it is. Thank you "
                "for sending it back."
            ),
        ],
    )


def _discarded(occasion: Occasion) -> Words:
    del occasion
    return (
        _("Your frame could not be ground, %(reference)s"),
        [
            _(
                "We could not mend your frame. It is not surely of the plastic that we mould, so "
                "it may not be ground with ours and was disposed of as waste."
            ),
        ],
    )


def _question(occasion: Occasion) -> Words:
    return (
        _("We have a question about your frame, %(reference)s"),
        [
            _("We have your frame (%(frame)s) in hand and need a word from you:"),
            *_what_we_ask(occasion.question),
            _("Please answer on the page below. Until then your frame waits here."),
            _("Our promise (%(promise)s) pauses meanwhile: the days until your answer are added."),
        ],
    )


def _question_reminder(occasion: Occasion) -> Words:
    return (
        _("Your frame still waits for your answer, %(reference)s"),
        [
            _("We have asked you something about your frame (%(frame)s):"),
            *_what_we_ask(occasion.question),
            _("Please answer on the page below. Until then your frame waits here."),
        ],
    )


def _what_we_ask(question: Question | None) -> list[str]:
    if question is None:
        return []
    lines = [question.text, *(f"– {one}" for one in question.choices)]
    data = [_whole("\n".join(lines))]
    if question.photos.exists():
        data.append(_("There is a photo beside the question."))
    return data


def _ground_words(frame: ReturnedFrame | None) -> str:
    text = ground_words(frame) if frame else _("Your frame was ground.")
    return _whole(text)


_WORDS: Final[dict[str, Callable[[Occasion], Words]]] = {
    "filed": _filed,
    "taken_in": _taken_in,
    "waiting_stock": _waiting_stock,
    "kit_reserved": _kit_reserved,
    "kit_posted": _kit_posted,
    "missing": _missing,
    "address_changed": _address_changed,
    "email_changed": _email_changed,
    "email_left": _email_left,
    "reminder": _reminder,
    "resting": _resting,
    "withdrawn": _withdrawn,
    "find_link": _find_link,
    "arrived": _arrived,
    "empty": _empty,
    "held": _held,
    "graded": _graded,
    "posted_mended": _posted_mended,
    "posted_as_is": _posted_as_is,
    "lenses_posted": _lenses_posted,
    "ready": _ready,
    "handed_over": _handed_over,
    "ground": _ground,
    "discarded": _discarded,
    "question": _question,
    "question_reminder": _question_reminder,
}

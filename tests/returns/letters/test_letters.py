"""Letters: owed with the fact, written in the person's language, sent once."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core import mail
from django.urls import reverse
from django.utils import timezone

from inventory import outbox
from inventory.ledger.rules import places
from inventory.models import Lot, OutboxMessage
from returns.customers import rules as people
from returns.filing.rules import intake
from returns.letters import delivery as messages
from returns.letters import rules as letters
from returns.letters.texts import _WORDS, Occasion, compose
from returns.models import Grading, Parcel, Person, Question, Request, ReturnedFrame
from returns.story.queries.story import day_words
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import WANDA, arrived, asked_screws, heaped, sent_back
from tests.returns.workroom_makers import mended

pytestmark = pytest.mark.django_db


def true_of(letter: str, frame: ReturnedFrame, bea: User) -> None:
    """Bring about what a letter says, where a letter is held back that is not true."""
    frames = ReturnedFrame.objects.filter(pk=frame.pk)
    if letter in ("held", "graded"):
        decided = "hold" if letter == "held" else "repair"
        Grading.objects.create(
            frame=frame, computed=decided, decided=decided, sums={}, at=NOON, by=bea
        )
        frames.update(state="held" if letter == "held" else "to_mend")
    if letter == "empty":
        frames.update(state="voided")
        Parcel.objects.update(done_at=NOON)
    if letter == "resting":
        Request.objects.update(state="resting")
    if letter.startswith("question"):
        Question.objects.create(
            key=key(),
            request=frame.request,
            frame=frame,
            text="Is 100 % of it ours?",
            asked_at=NOON,
            asked_on=NOON.date(),
            asked_by=bea,
        )
    if letter == "email_left":
        Person.objects.update(former_email="wanda@example.org")


def sent(letter: str, request: Request, frame: ReturnedFrame | None = None) -> Any:
    owed = letters.enqueue(letter=letter, request=request, at=NOON, frame=frame)
    assert outbox.settle(owed.pk, at=timezone.now()), OutboxMessage.objects.get(
        pk=owed.pk
    ).last_error
    return mail.outbox[-1]


def test_every_letter_has_words() -> None:
    assert set(_WORDS) == letters.LETTERS


def test_unknown_letter_is_a_programs_mistake(shop: Shop) -> None:
    with pytest.raises(ValueError, match="no letter"):
        letters.enqueue(letter="love", request=sent_back(shop), at=NOON)


@pytest.mark.parametrize("letter", sorted(letters.LETTERS))
@pytest.mark.parametrize("language", ["en", "de", "xx"])
def test_each_letter_is_plain_and_html_and_carries_the_link(
    shop: Shop, bea: User, letter: str, language: str
) -> None:
    shop.workshop.email = "100%@example.org"
    shop.workshop.save()
    request = sent_back(shop, contact=replace(WANDA, language=language))
    frame = arrived(shop, request)
    true_of(letter, frame, bea)
    request.refresh_from_db()
    message = sent(letter, request, frame)
    link = reverse("story", args=[intake.link_secret(request)])
    assert message.to == ["wanda@example.org"]
    assert request.reference in message.subject
    html, kind = message.alternatives[0]
    assert kind == "text/html"
    for body in (message.body, html):
        assert link in body
        assert "Wanda Reed" in body
        assert "%(" not in body


def test_a_practice_letter_says_so_in_subject_and_body(shop: Shop) -> None:
    request = sent_back(shop)
    assert "ractice" not in sent("filed", request).subject
    shop.workshop.demo = True
    shop.workshop.save()
    message = sent("filed", request)
    assert message.subject.startswith("Practice: ")
    html, _kind = message.alternatives[0]
    for body in (message.body, html):
        assert "This is practice" in body


def test_message_has_a_stable_id_and_one_event_so_a_repeat_sends_nothing(shop: Shop) -> None:
    request = sent_back(shop)
    owed = OutboxMessage.objects.get()
    for _ in range(2):
        messages.send(owed)
    assert len(mail.outbox) == 1
    assert str(owed.pk) in mail.outbox[0].extra_headers["Message-ID"]
    assert request.reference in mail.outbox[0].body


def test_letter_to_an_erased_person_is_settled_unsent(shop: Shop) -> None:
    request = intake.withdraw(key=key(), request=sent_back(shop), at=NOON)
    people.erase(key=key(), person=request.person, at=NOON)  # type: ignore[arg-type]
    for owed in list(OutboxMessage.objects.all()):
        assert outbox.settle(owed.pk, at=timezone.now())
    assert mail.outbox == []


def test_failing_mail_server_leaves_the_letter_owed(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent_back(shop)
    owed = OutboxMessage.objects.get()

    def broken(*_args: Any, **_facts: Any) -> None:
        raise OSError("wanda@example.org refused")

    monkeypatch.setattr("django.core.mail.EmailMultiAlternatives.send", broken)
    assert not outbox.settle(owed.pk, at=timezone.now())
    owed.refresh_from_db()
    assert owed.settled_at is None
    assert owed.last_error == "NotPosted: OSError"


def test_name_cannot_start_a_header_or_markup(shop: Shop) -> None:
    request = sent_back(shop, contact=replace(WANDA, name="<b>Wanda</b>"))
    people_row = request.person
    assert people_row is not None
    message = sent("filed", request)
    assert "&lt;b&gt;Wanda" in message.alternatives[0][0]
    type(people_row).objects.update(email="wanda@example.org\nBcc: x@example.org")
    owed = letters.enqueue(letter="filed", request=request, at=NOON)
    count = len(mail.outbox)
    assert not outbox.settle(owed.pk, at=timezone.now())
    assert len(mail.outbox) == count


def test_colour_named_with_a_line_break_stays_one_subject_line(shop: Shop) -> None:
    shop.workshop.name = "Tidewrack\nFrames"
    shop.workshop.save()
    message = sent("filed", sent_back(shop))
    assert "\n" not in message.subject


def test_ground_letter_tells_mass_colour_and_lot(shop: Shop) -> None:
    request = sent_back(shop)
    lot = Lot.objects.create(
        code="L-2222-2222",
        polymer=shop.pp,
        colour=shop.slate,
        origin="post_consumer_return",
        heat=[[3, 1_000_000]],
        made_at=NOON,
    )
    places.of_lot(lot)
    frame = arrived(shop, request, state="ground", boxed_mg=19_400, lot=lot, ended_at=NOON)
    heaped(frame, lot)
    body = sent("ground", request, frame).body
    for word in ("19.4", "Slate", "L-2222-2222"):
        assert word in body


@pytest.mark.parametrize(
    ("decided", "wish", "word"),
    [
        ("repair", "regrind", "can be mended"),
        ("regrind", "regrind", "grind it"),
        ("regrind", "post_back", "as it is"),
    ],
)
def test_graded_letter_follows_decision_and_wish(
    shop: Shop, bea: User, decided: str, wish: str, word: str
) -> None:
    request = sent_back(shop, wish=wish)
    state = {"repair": "to_mend", "regrind": "to_strip"}[decided]
    frame = arrived(shop, request, state="to_return" if wish == "post_back" else state)
    Grading.objects.create(frame=frame, computed=decided, decided=decided, sums={}, at=NOON, by=bea)
    assert word in sent("graded", request, frame).body


def test_kit_letters_follow_the_stock(shop: Shop) -> None:
    request = asked_screws(shop)
    assert "by 17 Oct 2026" in sent("filed", request).body
    assert "/guide/avocet/" in sent("kit_posted", request).body


def test_letter_with_a_mended_frame_says_what_was_done_and_to_look_before_wearing(
    shop: Shop, bea: User
) -> None:
    frame = mended(shop, bea)
    assert frame.request is not None
    letter = compose("posted_mended", Occasion(frame.request, frame, shop.workshop))
    text = " ".join(letter.paragraphs)
    assert "What we did (front): polished." in text
    assert "look before you rely on it" in text


def test_letter_on_a_repair_names_the_promised_day(shop: Shop, bea: User) -> None:
    frame = mended(shop, bea)
    assert frame.request is not None
    letter = compose("graded", Occasion(frame.request, frame, shop.workshop))
    day = day_words(frame.promised_by)
    assert f"We mean to be done by {day}" in " ".join(letter.paragraphs)

"""A question to a customer: asked, answered or withdrawn, and what waits for it meanwhile.

Expected days are counted by hand from the rule that `returns.asking.sums` states.
"""

from __future__ import annotations

import io
from datetime import date, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core import mail
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from inventory import outbox
from inventory.errors import BadInput, Conflict, KeyReused, StaleState
from inventory.models import Event, OutboxMessage, Workshop
from returns.arriving import rules as arriving
from returns.asking import queries, rules, sums
from returns.asking.rules import Answer, Asked
from returns.bench.queries import queue
from returns.customers import rules as people
from returns.desk.queries.owner_today import owner_today
from returns.filing.rules import intake, photos
from returns.grading.rules import lookover
from returns.grading.rules.lookover import Look
from returns.models import Question, QuestionPhoto, Request, ReturnedFrame
from returns.story.queries import story
from tests import furnished
from tests.api.callers import Caller, machine, refused
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import on_shelf
from tests.returns.customer_makers import sent_back

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
ASKED = Asked("Is it the left arm?", ("yes", "no"))
FREE = Asked("What happened?")


@pytest.fixture
@furnished.once
def frame(shop: Shop, bea: User) -> ReturnedFrame:
    return on_shelf(shop, bea, sent_back(shop))


def ask(frame: ReturnedFrame, by: User, asked: Asked = ASKED, **changes: Any) -> Question:
    return rules.ask(**({"key": key(), "frame": frame, "asked": asked, "at": NOON, "by": by}
                        | changes))  # fmt: skip


def now(frame: ReturnedFrame) -> ReturnedFrame:
    return ReturnedFrame.objects.get(pk=frame.pk)


def looked(frame: ReturnedFrame, by: User) -> None:
    look = Look(found_sound=True, polymer="ours")
    lookover.grade(key=key(), frame=now(frame), look=look, at=NOON, by=by)


@pytest.mark.parametrize(("days", "moved"), [(-1, 0), (0, 0), (1, 1), (9, 9)])
def test_the_promise_moves_by_the_days_of_waiting(days: int, moved: int) -> None:
    asked, promised = date(2026, 10, 14), date(2026, 11, 4)
    told = sums.moved(promised, asked, asked + days * DAY, {}.__contains__)
    assert told == promised + moved * DAY


@pytest.mark.parametrize(
    ("asked", "answered", "told"),
    [
        # The workshop is shut from the 19th to the 23rd. A wait of which it is shut for five days
        # counts the other two; one that ends while it is shut counts those before.
        (date(2026, 10, 17), date(2026, 10, 24), date(2026, 10, 28)),
        (date(2026, 10, 17), date(2026, 10, 20), date(2026, 10, 27)),
        # All of it shut: as many days are left as before.
        (date(2026, 10, 19), date(2026, 10, 23), date(2026, 10, 26)),
        # What was due before they shut is due after it.
        (date(2026, 10, 14), date(2026, 10, 16), date(2026, 10, 28)),
    ],
)
def test_a_pause_counts_the_days_that_a_promise_counts(
    asked: date, answered: date, told: date
) -> None:
    shut = {date(2026, 10, 19) + number * DAY for number in range(5)}
    assert sums.moved(date(2026, 10, 26), asked, answered, shut.__contains__) == told


def test_a_wait_over_closing_days_moves_the_promise_by_the_open_days_alone(
    frame: ReturnedFrame, bea: User
) -> None:
    promised = frame.promised_by
    workshop = Workshop.the()
    workshop.keeps_holidays = False
    shut = [(NOON + number * DAY).date().isoformat() for number in (1, 4)]
    workshop.closed_days = [shut]
    workshop.save()
    question = ask(frame, bea)
    rules.answer(key=key(), question=question, said=Answer("yes"), at=NOON + 6 * DAY)
    assert now(frame).promised_by == promised + 2 * DAY


def test_no_end_of_its_request_leaves_a_question_waiting(frame: ReturnedFrame, bea: User) -> None:
    """Who was asked about a frame in the house can neither withdraw nor be erased meanwhile."""
    ask(frame, bea)
    assert frame.request is not None
    with pytest.raises(StaleState, match="too late"):
        intake.withdraw(key=key(), request=frame.request, at=NOON)
    assert frame.request.person is not None
    with pytest.raises(Conflict, match="still needs the address"):
        people.erase(key=key(), person=frame.request.person, at=NOON)
    with pytest.raises(StaleState, match="waits for the answer"):
        arriving.unweigh(key=key(), frame=now(frame), reason="wrong tag", at=NOON, by=bea)
    assert Question.objects.get().is_open


@pytest.mark.parametrize(("days", "late"), [(-1, False), (0, False), (1, True)])
def test_what_was_late_when_asked_stays_late(days: int, late: bool) -> None:
    promised = date(2026, 10, 14)
    assert sums.was_late(promised, promised + days * DAY) is late


def test_the_frame_waits_and_the_answer_opens_it(frame: ReturnedFrame, bea: User) -> None:
    promised = frame.promised_by
    question = ask(frame, bea)
    with pytest.raises(StaleState, match="waits for the answer"):
        looked(frame, bea)
    assert queue.step_counts()["asked"] == 1
    rules.answer(key=key(), question=question, said=Answer("yes"), at=NOON + 3 * DAY)
    assert now(frame).promised_by == promised + 3 * DAY
    assert queue.step_counts()["asked"] == 0
    looked(frame, bea)
    names = Event.objects.filter(subject=frame.tag).values_list("name", flat=True)
    assert {"asking.ask", "asking.answer"} <= set(names)


def test_the_story_says_who_waits_and_what_was_said(frame: ReturnedFrame, bea: User) -> None:
    question = ask(frame, bea)
    request = Request.objects.get()
    waiting = story.of(request, at=NOON)
    assert (waiting.asked, waiting.promised_by) == ([question], None)
    assert waiting.next == "It waits for your answer to our question."
    rules.answer(key=key(), question=question, said=Answer("no", "the right"), at=NOON + DAY)
    told = story.of(request, at=NOON + DAY)
    assert told.asked == []
    assert told.promised_by == now(frame).promised_by
    assert [turn.text for turn in told.turns][-2:] == [
        "We asked you: “Is it the left arm?”",
        "You answered: “no – the right”",
    ]


def test_withdrawn_before_its_letter_goes_nobody_hears_of_it(
    frame: ReturnedFrame, bea: User
) -> None:
    question = ask(frame, bea)
    letter = OutboxMessage.objects.get(payload__letter="question")
    rules.withdraw(key=key(), question=question, at=NOON, by=bea)
    outbox.settle(letter.pk, at=NOON)
    assert mail.outbox == []
    with pytest.raises(StaleState):
        rules.answer(key=key(), question=question, said=Answer("yes"), at=NOON)
    looked(frame, bea)


def test_the_letter_asks_and_the_reminder_asks_once_more(frame: ReturnedFrame, bea: User) -> None:
    question = ask(frame, bea, Asked("Is 100 % of it ours?", ("yes", "no")))
    outbox.settle(OutboxMessage.objects.get(payload__letter="question").pk, at=NOON)
    body = str(mail.outbox[0].body)
    assert "Is 100 % of it ours?\n– yes\n– no" in body
    assert [rules.remind(NOON + days * DAY) for days in (4, 5, 6)] == [0, 1, 0]
    outbox.settle(OutboxMessage.objects.get(payload__letter="question_reminder").pk, at=NOON)
    assert "still waits" in mail.outbox[1].subject
    assert Question.objects.get(pk=question.pk).reminded_at == NOON + 5 * DAY


@pytest.mark.parametrize(("days", "shown"), [(13, 0), (14, 1), (15, 1)])
def test_unanswered_for_long_it_is_shown_to_the_owner(
    frame: ReturnedFrame, bea: User, days: int, shown: int
) -> None:
    ask(frame, bea)
    assert owner_today(NOON + days * DAY).unanswered == shown


def test_a_pausing_promise_is_not_late_and_a_broken_one_stays_so(
    frame: ReturnedFrame, bea: User
) -> None:
    long_after = NOON + 90 * DAY
    assert owner_today(long_after).late_frames == 1
    question = ask(frame, bea)
    assert owner_today(long_after).late_frames == 0
    rules.withdraw(key=key(), question=question, at=NOON, by=bea)
    ask(frame, bea, at=long_after)
    assert owner_today(long_after).late_frames == 1


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        (Asked("  "), "text"),
        (Asked("x" * 501), "text"),
        (Asked("Which?", ("one",)), "choices"),
        (Asked("Which?", tuple("1234567")), "choices"),
        (Asked("Which?", ("a", "A")), "choices"),
        (Asked("Which?", ("a", "b" * 81)), "choices"),
    ],
)
def test_a_bad_question_is_refused_by_field(
    frame: ReturnedFrame, bea: User, asked: Asked, field: str
) -> None:
    with pytest.raises(BadInput) as slip:
        ask(frame, bea, asked)
    assert slip.value.field == field


@pytest.mark.parametrize(
    ("asked", "said", "field"),
    [
        (ASKED, Answer(""), "chosen"),
        (ASKED, Answer("perhaps"), "chosen"),
        (FREE, Answer("", " "), "text"),
        (FREE, Answer("", "x" * 1001), "text"),
        (FREE, Answer("yes", "it fell"), "chosen"),
    ],
)
def test_a_bad_answer_is_refused_by_field(
    frame: ReturnedFrame, bea: User, asked: Asked, said: Answer, field: str
) -> None:
    question = ask(frame, bea, asked)
    with pytest.raises(BadInput) as slip:
        rules.answer(key=key(), question=question, said=said, at=NOON)
    assert slip.value.field == field
    assert Question.objects.get().is_open


def test_one_open_question_a_frame_and_none_without_a_customer(
    shop: Shop, frame: ReturnedFrame, bea: User
) -> None:
    ask(frame, bea)
    with pytest.raises(StaleState):
        ask(frame, bea, FREE)
    with pytest.raises(StaleState, match="Nobody can be asked"):
        ask(on_shelf(shop, bea), bea)


def test_a_repeat_asks_once_and_another_text_under_its_key_is_refused(
    frame: ReturnedFrame, bea: User
) -> None:
    one = key()
    assert ask(frame, bea, key=one) == ask(frame, bea, key=one)
    with pytest.raises(KeyReused):
        ask(frame, bea, FREE, key=one)


def test_erasing_takes_words_and_photos_and_leaves_the_rows(
    frame: ReturnedFrame, bea: User
) -> None:
    picture = photos.Picture(b"jpeg", 4, 3)
    question = ask(frame, bea, FREE, picture=picture)
    rules.answer(
        key=key(), question=question, said=Answer("", "my son did"), picture=picture, at=NOON
    )
    assert QuestionPhoto.objects.count() == 2
    request = Request.objects.get()
    assert request.person is not None
    assert people.export(request.person)["requests"][0]["questions"][0]["answer"] == "my son did"
    Request.objects.update(ended_at=NOON)
    people.erase(key=key(), person=request.person, at=NOON)
    left = Question.objects.get()
    assert (left.text, left.answer, left.state) == ("", "", "answered")
    assert not QuestionPhoto.objects.exists()
    assert "my son" not in str(list(Event.objects.values()))


def test_orphans_spare_the_photos_of_questions(frame: ReturnedFrame, bea: User) -> None:
    ask(frame, bea, picture=photos.Picture(b"jpeg", 4, 3))
    assert photos.remove_orphans(older_than=NOON + 9999 * DAY) == 0


def test_bench_asks_with_a_photo_and_the_customer_answers_by_the_link(
    frame: ReturnedFrame, bea: User, client: Client
) -> None:
    client.force_login(bea)
    picture = io.BytesIO()
    Image.new("RGB", (40, 30), "grey").save(picture, "JPEG")
    upload = SimpleUploadedFile("a.jpg", picture.getvalue(), "image/jpeg")
    path = f"/bench/frame/{frame.tag}/ask/"
    sent = {"key": key(), "text": "Which arm?", "choices": "left\nright", "photo": upload}
    assert client.post(path, sent).status_code == 302
    question = Question.objects.get()
    assert question.choices == ["left", "right"]
    assert "asked on" in client.get("/bench/?step=asked").content.decode()
    secret = intake.link_secret(Request.objects.get())
    visitor = Client()
    page = visitor.get(f"/story/{secret}/").content.decode()
    assert "Which arm?" in page
    photo = question.photos.get()
    assert f"/story/{secret}/photo/{photo.file_name}/" in page
    assert visitor.get(f"/story/{secret}/photo/{photo.file_name}/").status_code == 200
    answer = f"/story/{secret}/question/{question.pk}/"
    again = visitor.post(answer, {"key": key(), "text": "hm"})
    assert "Choose one of the answers." in again.content.decode()
    assert visitor.post(answer, {"key": key(), "chosen": "left"}).status_code == 302
    assert "This question is answered" in visitor.get(answer).content.decode()
    assert "the answer is here" in client.get("/bench/").content.decode()
    assert "left" in client.get(f"/bench/frame/{frame.tag}/").content.decode()


def test_bench_notes_what_it_was_told_or_withdraws(
    frame: ReturnedFrame, bea: User, client: Client
) -> None:
    client.force_login(bea)
    ask(frame, bea)
    told = f"/bench/frame/{frame.tag}/ask/told/"
    assert client.post(told, {"key": key(), "chosen": "maybe"}).status_code == 422
    assert client.post(told, {"key": key(), "chosen": "yes"}).status_code == 302
    assert Question.objects.get().closed_by == bea
    ask(frame, bea, FREE)
    withdraw = f"/bench/frame/{frame.tag}/ask/withdraw/"
    assert client.post(withdraw, {"key": key()}).status_code == 302
    assert client.post(withdraw, {"key": key()}).status_code == 409
    assert not queries.waiting(ReturnedFrame.objects.all()).exists()


def test_the_api_asks_answers_and_withdraws(frame: ReturnedFrame, bea: User) -> None:
    bench, path = machine(bea, "bench", "read"), f"frames/{frame.tag}/questions/"
    asked = bench.post(path, {"text": "Which arm?", "choices": ["left", "right"]}).json()
    assert bench.get(path).json()["results"] == [asked]
    refused(bench.post(path, {"text": "And?"}), 409, "stale-state")
    secret = {"Story-Secret": intake.link_secret(Request.objects.get())}
    told = Caller().get("story/", **secret).json()
    assert told["questions"] == [asked]
    body = {"question": asked["number"]}
    refused(Caller().post("story/answers/", body | {"chosen": "up"}, **secret), 400, "bad-input")
    refused(Caller().post("story/answers/", {"question": 10**6}, **secret), 404, "not-found")
    story = Caller().post("story/answers/", body | {"chosen": "left"}, **secret).json()
    assert story["questions"][0]["chosen"] == "left"
    gone = f"frames/{frame.tag}/question-withdrawals/"
    refused(bench.post(gone), 409, "stale-state")
    bench.post(path, {"text": "And?"})
    assert bench.post(gone).json()["state"] == "withdrawn"

"""The house's steps as EPCIS events: valid, complete, and each named by its content."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any
from urllib.parse import quote
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from jsonschema import Draft7Validator

from inventory.ledger.rules import reversing
from inventory.ledger.sums.recipes import KINDS
from inventory.models import Movement
from returns.models import ReturnedFrame
from returns.tracing import queries
from returns.tracing.queries import Question
from returns.tracing.sums import documents
from returns.tracing.sums.documents import House, Noted
from returns.tracing.sums.hashing import event_hash
from returns.tracing.sums.steps import BY_SIDE, STEPS, Type
from tests.makers import NOON, Shop, key
from tests.returns.regrind.test_stripdown import parts, strip, to_strip

# GS1, EPCIS 2.0 (2022), its JSON schema as published with the standard's drafts (repository
# gs1/EPCIS at 2b888be, 2023); terms beside it.
SCHEMA = Path(__file__).parent / "published" / "EPCIS-JSON-Schema.json"


def told(question: Question | None = None) -> list[dict[str, Any]]:
    found = queries.events(question or Question())
    return [event for _position, events in found for event in events]


@pytest.mark.pure
def test_every_kind_of_movement_has_a_step() -> None:
    assert set(STEPS) == set(KINDS)
    for step in STEPS.values():
        has_action = step.type is not Type.TRANSFORMATION
        assert (step.action in {"ADD", "OBSERVE", "DELETE", BY_SIDE}) == has_action


@pytest.fixture
def stripped(shop: Shop, bea: User) -> ReturnedFrame:
    return strip(to_strip(shop, bea), parts(shop), bea)


def test_a_frame_is_told_from_the_door_to_its_box_without_a_gram_lost(
    stripped: ReturnedFrame,
) -> None:
    events = told()
    steps = [(one["type"], one["bizStep"]) for one in events]
    door = [("ObjectEvent", "arriving"), ("ObjectEvent", "receiving"), ("ObjectEvent", "storing")]
    assert [step for step in steps if step in door][-3:] == door
    [apart] = [one for one in events if one["bizStep"] == "disassembling"]
    assert apart["inputEPCList"] == [queries.house().coded(stripped.tag)]
    movement = Movement.objects.get(number=apart["hingeback:movement"])
    grams = sum(one["quantity"] for one in apart["outputQuantityList"] if "uom" in one)
    out = movement.postings.exclude(source__kind="unexplained").filter(source__unit="mg")
    assert round(grams * 1_000_000) == sum(out.values_list("quantity", flat=True))


def test_a_file_is_valid_by_the_standards_schema_and_its_names_follow_from_its_content(
    stripped: ReturnedFrame,
) -> None:
    events = told()
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    file = json.loads(json.dumps(documents.document(events, queries.house(), NOON)))
    assert [error.message for error in Draft7Validator(schema).iter_errors(file)] == []
    answer = json.loads(json.dumps(documents.answer(events, queries.house(), NOON)))
    assert [error.message for error in Draft7Validator(schema).iter_errors(answer)] == []
    prefixes = file["@context"][1]
    for event in file["epcisBody"]["eventList"]:
        assert event["eventID"] == event_hash(event, prefixes)
    assert max(Counter(one["eventID"] for one in events).values()) == 1
    # Proof that the schema would say so.
    file["epcisBody"]["eventList"][0].pop("eventTimeZoneOffset")
    assert list(Draft7Validator(schema).iter_errors(file))


def test_what_is_taken_back_keeps_its_name_and_says_so(shop: Shop, acke: User) -> None:
    before = told()[-1]
    movement = Movement.objects.get(number=before["hingeback:movement"])
    reversing.reverse(movement=movement, reason="counted twice", key=key(), at=NOON, by=acke)
    after = told()[-1]
    assert after["eventID"] == before["eventID"]
    assert after["errorDeclaration"]["reason"] == "incorrect_data"


def test_no_person_is_in_an_event(stripped: ReturnedFrame) -> None:
    text = json.dumps(told())
    request = stripped.request
    assert request is not None
    assert request.person is not None
    for word in (request.person.name, request.person.email, '"bea"', '"ben"'):
        assert word not in text


@pytest.mark.pure
@pytest.mark.parametrize(
    ("name", "detail", "wanted"),
    [
        (
            "arrivals.finish",
            {"content": "frames", "frames": ["F-1"]},
            {"type": "AggregationEvent", "action": "DELETE", "bizStep": "unpacking"},
        ),
        ("lookover.grade", {"decided": "regrind"}, {"hingeback:decided": "regrind"}),
        ("lookover.overrule", {"decided": "hold"}, {"disposition": "damaged"}),
        ("mending.do_step", {}, {"bizStep": "repairing", "disposition": "in_progress"}),
        ("mending.check", {"passed": True}, {"disposition": "conformant"}),
        ("mending.check", {"passed": False}, {"disposition": "non_conformant"}),
        ("posting_out.post_lenses", {}, {"bizStep": "shipping"}),
        ("batches.mould", {"pieces": 40}, {"type": "TransformationEvent"}),
        ("arrivals.book", {"request": "Q-1"}, {"bizStep": "arriving"}),
    ],
)
def test_steps_that_move_no_mass_are_told_from_the_history(
    name: str, detail: dict[str, Any], wanted: dict[str, str]
) -> None:
    where = House("https://frames.example.org", ZoneInfo("Europe/Berlin"))
    [event] = documents.of_note(Noted(uuid4(), name, "F-9", NOON, detail), where)
    assert wanted.items() <= event.items()
    file = json.loads(json.dumps(documents.document([event], where, NOON)))
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    assert [error.message for error in Draft7Validator(schema).iter_errors(file)] == []


@pytest.mark.pure
def test_a_parcel_without_frames_unpacks_nothing() -> None:
    where = House("https://frames.example.org", ZoneInfo("Europe/Berlin"))
    empty = Noted(uuid4(), "arrivals.finish", "P-1", NOON, {"content": "parts", "frames": []})
    assert documents.of_note(empty, where) == []


# --- asking over HTTP ---


@pytest.fixture
def asking(client: Client, bea: User, stripped: ReturnedFrame) -> Client:
    client.force_login(bea)
    return client


def ask(client: Client, query: str = "") -> Any:
    return client.get(f"{reverse('api-epcis-events')}?{query}")


def events_of(answer: Any) -> list[dict[str, Any]]:
    assert answer.status_code == 200, answer.content
    found: list[dict[str, Any]] = answer.json()["epcisBody"]["queryResults"]["resultsBody"][
        "eventList"
    ]
    return found


def test_pages_hold_each_event_once_in_its_order(asking: Client) -> None:
    whole = told()
    for order, wanted in (("", whole), ("orderBy=eventTime&orderDirection=DESC&", whole[::-1])):
        address, found = f"{reverse('api-epcis-events')}?{order}perPage=2", []
        while address:
            answer = asking.get(address)
            page = events_of(answer)
            found += page
            link = answer.headers.get("Link", "")
            address = link.partition(">")[0].removeprefix("<")
        ids = [one["eventID"] for one in found]
        assert sorted(ids) == sorted(one["eventID"] for one in wanted)
        assert [one["eventTime"] for one in found] == [one["eventTime"] for one in wanted]
    assert answer.headers["GS1-EPCIS-Version"] == "2.0.0"


def test_questions_narrow_as_the_standard_says(asking: Client, stripped: ReturnedFrame) -> None:
    whole = told()
    tag = quote(queries.house().coded(stripped.tag), safe="")
    of_frame = events_of(ask(asking, f"MATCH_anyEPC={tag}&perPage=200"))
    assert {one["bizStep"] for one in of_frame} == {"receiving", "storing", "disassembling"}
    assert 0 < len(of_frame) < len(whole)
    apart = events_of(ask(asking, f"MATCH_inputEPC={tag}"))
    assert [one["bizStep"] for one in apart] == ["disassembling"]
    both = events_of(ask(asking, "EQ_bizStep=arriving%7Cdisassembling"))
    assert {one["bizStep"] for one in both} == {"arriving", "disassembling"}
    spelt = "https%3A%2F%2Fref.gs1.org%2Fcbv%2FBizStep-arriving"
    assert events_of(ask(asking, f"EQ_bizStep={spelt}")) == both[:1]
    kinds = events_of(ask(asking, "eventType=TransformationEvent"))
    assert {one["type"] for one in kinds} == {"TransformationEvent"}
    at = quote(apart[0]["eventTime"])
    since = events_of(ask(asking, f"GE_eventTime={at}&perPage=200"))
    until = events_of(ask(asking, f"LT_eventTime={at}&perPage=200"))
    assert len(since) + len(until) == len(whole)
    assert {one["bizStep"] for one in since} >= {"arriving", "disassembling"}
    recorded = events_of(ask(asking, f"GE_recordTime={at}&LT_recordTime={at}"))
    assert recorded == []
    [newest] = events_of(ask(asking, "orderBy=eventTime&eventCountLimit=1"))
    assert newest["eventTime"] == max(one["eventTime"] for one in whole)
    assert events_of(ask(asking, "EXISTS_errorDeclaration")) == []
    assert len(events_of(ask(asking, f"maxEventCount={len(whole)}&perPage=200"))) == len(whole)


@pytest.mark.parametrize(
    ("query", "status", "kind"),
    [
        ("colour=moss", 400, "QueryParameterException"),
        ("GE_eventTime=yesterday", 400, "QueryParameterException"),
        ("GE_eventTime=2026-10-01T08:00:00", 400, "QueryParameterException"),
        ("GE_eventTime=2026-13-01T08:00:00Z", 400, "QueryParameterException"),
        ("eventType=GrindEvent", 400, "QueryParameterException"),
        ("perPage=0", 400, "QueryParameterException"),
        ("perPage=201", 400, "QueryParameterException"),
        ("perPage=%D9%A3", 400, "QueryParameterException"),
        ("eventCountLimit=3", 400, "QueryParameterException"),
        ("orderBy=eventTime&eventCountLimit=3&maxEventCount=4", 400, "QueryParameterException"),
        ("orderBy=recordTime", 400, "QueryParameterException"),
        ("nextPageToken=abc", 400, "QueryParameterException"),
        ("EQ_eventID=%00", 400, "QueryParameterException"),
        ("maxEventCount=1", 413, "QueryTooLargeException"),
    ],
)
def test_a_question_that_cannot_be_answered_is_refused_by_its_name(
    asking: Client, query: str, status: int, kind: str
) -> None:
    answer = ask(asking, query)
    assert (answer.status_code, answer.json()["type"]) == (status, f"epcisException:{kind}")
    assert answer.json()["detail"]


# --- the owner's page ---


def test_owner_downloads_a_month_or_one_thing(owner: Client, stripped: ReturnedFrame) -> None:
    assert "Traceability file" in owner.get(reverse("tracing")).content.decode()
    month = f"{NOON:%Y-%m}"
    of_month = [one for one in told() if one["eventTime"].startswith(month)]
    assert 0 < len(of_month) < len(told())
    whole = owner.get(reverse("tracing-file"), {"month": month})
    assert whole.headers["Content-Type"] == "application/ld+json"
    assert len(whole.json()["epcisBody"]["eventList"]) == len(of_month)
    one = owner.get(reverse("tracing-file"), {"code": stripped.tag.lower()})
    assert 0 < len(one.json()["epcisBody"]["eventList"]) < len(told())
    for wrong in ({}, {"month": "2026-99"}, {"code": "nothing"}):
        page = owner.get(reverse("tracing-file"), wrong)
        assert page.headers["Content-Type"].startswith("text/html")
        assert "error" in page.content.decode()


@pytest.mark.django_db
def test_our_own_words_are_explained_to_everybody(client: Client) -> None:
    page = client.get(reverse("tracing-words")).content.decode()
    assert "meanHeatPasses" in page
    assert 'id="sorting"' in page

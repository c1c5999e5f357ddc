"""Asking for traceability events, in the shape of the query interface of GS1 EPCIS 2.0.

The names of parameters, the headers and the kinds of error are the standard's (REST bindings,
version 2.0.0, read). Only asking is offered: nothing is captured here, because every event follows
from the ledger and the history.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, Final
from urllib.parse import unquote, urlencode

from django.core import signing
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.furniture.api.problems import ProblemResponse
from inventory.furniture.api.views import Face
from returns.tracing import queries
from returns.tracing.queries import Position, Question
from returns.tracing.sums import documents
from returns.tracing.sums.documents import Document
from returns.tracing.sums.steps import Type

VERSIONS: Final = {"GS1-EPCIS-Version": "2.0.0", "GS1-CBV-Version": "2.0.0"}
PER_PAGE, PER_PAGE_MAX = 30, 200
EVENTS_MAX: Final = 1_000
"""Of a question that says by `maxEventCount` or `eventCountLimit` how many it takes."""
ROWS_MAX: Final = 2_000
"""Looked at for one page; a page may then be short, or empty, and still have a next one."""
ROWS_AT_ALL: Final = 20_000
_SALT: Final = "hingeback.tracing.page"
_CBV: Final = "https://ref.gs1.org/cbv/"

_MOMENTS: Final = ("GE_eventTime", "LT_eventTime", "GE_recordTime", "LT_recordTime")
_EPCS: Final = ("epcList", "childEPCs", "inputEPCList", "outputEPCList")
_CLASSES: Final = (
    "quantityList",
    "childQuantityList",
    "inputQuantityList",
    "outputQuantityList",
)
# Which fields of an event each question about things looks at.
_MATCHES: Final[Mapping[str, tuple[str, ...]]] = {
    "MATCH_epc": ("epcList", "childEPCs"),
    "MATCH_parentID": ("parentID",),
    "MATCH_inputEPC": ("inputEPCList",),
    "MATCH_outputEPC": ("outputEPCList",),
    "MATCH_anyEPC": ("parentID", "transformationID", *_EPCS),
    "MATCH_epcClass": ("quantityList", "childQuantityList"),
    "MATCH_inputEPCClass": ("inputQuantityList",),
    "MATCH_outputEPCClass": ("outputQuantityList",),
    "MATCH_anyEPCClass": _CLASSES,
}
_EQUALS: Final[Mapping[str, str]] = {
    "eventType": "type",
    "EQ_action": "action",
    "EQ_bizStep": "bizStep",
    "EQ_disposition": "disposition",
    "EQ_readPoint": "readPoint",
    "EQ_bizLocation": "bizLocation",
    "EQ_transformationID": "transformationID",
    "EQ_eventID": "eventID",
}
_FLOW: Final = frozenset(
    {"perPage", "nextPageToken", "orderBy", "orderDirection", "eventCountLimit", "maxEventCount"}
)
_EXISTS: Final = "EXISTS_errorDeclaration"


class Refused(Exception):
    """A question that cannot be answered, by the standard's kind of error."""

    def __init__(self, kind: str, title: str, detail: str, status: int = 400) -> None:
        super().__init__(detail)
        self.kind, self.title, self.detail, self.status = kind, title, detail, status


class EventAnswer(serializers.Serializer[Any]):
    """An `EPCISQueryDocument` in JSON-LD; its events stand in `epcisBody`."""

    type = serializers.CharField()
    schemaVersion = serializers.CharField()
    creationDate = serializers.DateTimeField()
    epcisBody = serializers.DictField()


def _asked(name: str, description: str) -> OpenApiParameter:
    return OpenApiParameter(name, OpenApiTypes.STR, OpenApiParameter.QUERY, description=description)


class Events(Face):
    """Ask for traceability events: what physically happened to frames, material and parts.

    A GS1 EPCIS 2.0 query. Lists are divided by `|`; different parameters must all hold. Quantities
    are in KGM (kg) or count pieces. Each `eventID` is the CBV event hash. A step that was taken
    back carries an `errorDeclaration`. The next page stands in the header `Link`; a page may be
    short.
    """

    scope = "read"
    answer_class = EventAnswer
    header_parameters = [
        *(_asked(name, "A moment with its offset.") for name in _MOMENTS),
        *(_asked(name, f"Values of `{field}`, divided by `|`.") for name, field in _EQUALS.items()),
        *(_asked(name, "Addresses of things or classes, divided by `|`.") for name in _MATCHES),
        _asked(_EXISTS, "Only steps that were taken back; takes no value."),
        _asked("perPage", f"1 to {PER_PAGE_MAX}; {PER_PAGE} if left out."),
        _asked("nextPageToken", "As the header `Link` gave it."),
        _asked("orderBy", "`eventTime`."),
        _asked("orderDirection", "`ASC` or `DESC`, which is meant if left out."),
        _asked("eventCountLimit", f"The first so many, up to {EVENTS_MAX}; needs `orderBy`."),
        _asked("maxEventCount", f"Refuse when there are more, up to {EVENTS_MAX}."),
    ]

    def get(self, request: Request) -> Response:
        try:
            found, link = self._found(request)
        except Refused as refused:
            return ProblemResponse(
                {
                    "type": f"epcisException:{refused.kind}",
                    "title": refused.title,
                    "status": refused.status,
                    "detail": refused.detail,
                },
                status=refused.status,
            )
        answer = documents.answer(found, queries.house(), timezone.now())
        headers = VERSIONS | ({"Link": f'<{link}>; rel="next"'} if link else {})
        return Response(answer, headers=headers)

    def _found(self, request: Request) -> tuple[list[Document], str]:
        asked = _read(request)
        question = _question(asked)
        after, left = _place_of(asked)
        if "maxEventCount" in asked:
            _refuse_too_many(question, _number(asked, "maxEventCount", EVENTS_MAX))
        wanted = _number(asked, "perPage", PER_PAGE_MAX, PER_PAGE)
        if "eventCountLimit" in asked:
            left = _number(asked, "eventCountLimit", EVENTS_MAX) if left is None else left
            wanted = min(wanted, left)
        page, last, more = _page(question, after, wanted)
        left = None if left is None else left - len(page)
        if not more or last is None or left == 0:
            return page, ""
        token = signing.dumps([last[0].isoformat(), last[1], last[2], left], salt=_SALT)
        kept = {name: value for name, value in asked.items() if name != "nextPageToken"}
        address = request.build_absolute_uri(request.path)
        return page, f"{address}?{urlencode(kept | {'nextPageToken': token})}"


def _page(
    question: Question, after: Position | None, wanted: int
) -> tuple[list[Document], Position | None, bool]:
    """Return a page, where it ended, and whether there may be more.

    All events of one row come together, so that a page may be longer by one or two.
    """
    page: list[Document] = []
    last = after
    looked = 0
    for position, told in queries.events(question, after=after, rows_max=ROWS_MAX):
        if len(page) >= wanted:
            return page, last, True
        page += told
        last, looked = position, looked + 1
    return page, last, looked >= ROWS_MAX


def _refuse_too_many(question: Question, limit: int) -> None:
    count = 0
    for looked, (_position, told) in enumerate(queries.events(question)):
        count += len(told)
        if count > limit:
            raise Refused(
                "QueryTooLargeException",
                "Too many events",
                f"There are more than {limit}. Ask for a shorter span or for one thing.",
                413,
            )
        if looked >= ROWS_AT_ALL:
            raise Refused(
                "QueryTooComplexException",
                "Too much to look through",
                "Ask for a shorter span, or leave maxEventCount out and read page by page.",
            )


def _read(request: Request) -> dict[str, str]:
    known = {*_MOMENTS, *_EQUALS, *_MATCHES, _EXISTS, *_FLOW}
    unknown = sorted(set(request.query_params) - known)
    if unknown:
        raise _wrong(f"There is no parameter {unknown[0]}. Known: {', '.join(sorted(known))}.")
    asked = {name: str(value) for name, value in request.query_params.items()}
    if "\x00" in "".join(asked.values()):
        raise _wrong("A value holds a zero character. Take it out.")
    return asked


def _wrong(detail: str) -> Refused:
    return Refused("QueryParameterException", "A parameter must be put right", detail)


def _question(asked: Mapping[str, str]) -> Question:
    order, direction = asked.get("orderBy"), asked.get("orderDirection", "DESC")
    if order not in {None, "eventTime"}:
        raise _wrong("orderBy takes eventTime.")
    if direction not in {"ASC", "DESC"}:
        raise _wrong("orderDirection takes ASC or DESC.")
    if "eventCountLimit" in asked and (order is None or "maxEventCount" in asked):
        raise _wrong("eventCountLimit needs orderBy, and stands alone without maxEventCount.")
    types = {"TransactionEvent", *Type}
    if unknown := set(_values(asked, "eventType")) - types:
        raise _wrong(f"There is no eventType {sorted(unknown)[0]}.")
    return Question(
        since=_moment(asked, "GE_eventTime"),
        until=_moment(asked, "LT_eventTime"),
        recorded_since=_moment(asked, "GE_recordTime"),
        recorded_until=_moment(asked, "LT_recordTime"),
        code=_only_code(asked),
        is_newest_first=order is not None and direction == "DESC",
        fits=_fitting(asked),
    )


def _moment(asked: Mapping[str, str], name: str) -> datetime | None:
    if name not in asked:
        return None
    # A plus sign that nobody escaped arrives as a gap.
    text = asked[name].replace(" ", "+")
    try:
        at = parse_datetime(text)
    except ValueError:
        at = None
    if at is None or at.utcoffset() is None:
        raise _wrong(f"{name} takes a moment with its offset, such as 2026-10-01T08:00:00Z.")
    return at


def _number(asked: Mapping[str, str], name: str, most: int, usual: int = 1) -> int:
    text = asked.get(name, str(usual))
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= most and len(text) <= 9):
        raise _wrong(f"{name} takes a whole number from 1 to {most}.")
    return int(text)


def _place_of(asked: Mapping[str, str]) -> tuple[Position | None, int | None]:
    token = asked.get("nextPageToken")
    if token is None:
        return None, None
    try:
        at, sort, number, left = signing.loads(token, salt=_SALT)
    except signing.BadSignature:
        raise _wrong("This nextPageToken is none of ours. Begin again without it.") from None
    return (datetime.fromisoformat(at), sort, number), left


def _values(asked: Mapping[str, str], name: str) -> list[str]:
    return [one for one in asked.get(name, "").split("|") if one]


def _only_code(asked: Mapping[str, str]) -> str:
    """Return the code of the one thing asked about: then the database looks for it."""
    base = queries.house().coded("")[:-1]
    for name in (*_MATCHES, "EQ_transformationID"):
        values = _values(asked, name)
        if len(values) == 1 and values[0].startswith(base):
            return unquote(values[0].removeprefix(base).rstrip("/"))
    return ""


def _fitting(asked: Mapping[str, str]) -> Callable[[Document], bool]:
    equal = {
        field: {*map(_bare, _values(asked, name))}
        for name, field in _EQUALS.items()
        if name in asked
    }
    match = {
        name: (fields, set(_values(asked, name)))
        for name, fields in _MATCHES.items()
        if name in asked
    }

    def fits(event: Document) -> bool:
        if _EXISTS in asked and "errorDeclaration" not in event:
            return False
        if any(_one(event, field) not in wanted for field, wanted in equal.items()):
            return False
        return all(
            any(_things(event, field) & wanted for field in fields)
            for fields, wanted in match.values()
        )

    return fits


def _bare(value: str) -> str:
    """Return a word of the vocabulary without its address; others as they are."""
    for beginning in (f"{_CBV}BizStep-", f"{_CBV}Disp-"):
        value = value.removeprefix(beginning)
    return value


def _one(event: Document, field: str) -> str:
    value = event.get(field, "")
    return str(value["id"] if isinstance(value, Mapping) else value)


def _things(event: Document, field: str) -> set[str]:
    value = event.get(field, [])
    if isinstance(value, str):
        return {value}
    return {one["epcClass"] if isinstance(one, Mapping) else one for one in value}

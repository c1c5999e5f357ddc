"""The identifier of an event from its content: the event hash of CBV 2.0 (GS1, 2022).

Not read itself, but by way of its reference description, `epcis-event-hash-generator` (README,
version 1.9.3).
Two programs that hold the same event give it the same name, and a changed event another.

Only identifiers that are plain web addresses are understood here, as this house writes them. What
has GS1 keys of its own (`urn:epc:...`, `/01/...`) would first have to be made canonical.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Final

_LEFT_OUT: Final = frozenset({"type", "eventID", "recordTime", "errorDeclaration"})
# Own name of what a list holds, in the order in which lists and plain fields are joined.
_IN_ORDER: Final[Mapping[str, str]] = {
    "eventTime": "",
    "eventTimeZoneOffset": "",
    "certificationInfo": "",
    "parentID": "",
    "epcList": "epc",
    "inputEPCList": "epc",
    "childEPCs": "epc",
    "quantityList": "quantityElement",
    "childQuantityList": "quantityElement",
    "inputQuantityList": "quantityElement",
    "outputEPCList": "epc",
    "outputQuantityList": "quantityElement",
    "action": "",
    "transformationID": "",
    "bizStep": "",
    "disposition": "",
    "readPoint": "",
    "bizLocation": "",
    "sensorElementList": "sensorElement",
    # The description's list has these before the sensors and sources first; its vectors do not.
    "bizTransactionList": "",
    "destinationList": "",
    "sourceList": "",
}
_INNER: Final[Mapping[str, tuple[str, ...]]] = {
    "quantityElement": ("epcClass", "quantity", "uom"),
    "readPoint": ("id",),
    "bizLocation": ("id",),
    "bizTransactionList": ("type", "bizTransaction"),
    "sourceList": ("type", "source"),
    "destinationList": ("type", "destination"),
    "sensorElement": ("sensorMetadata", "sensorReport"),
    "sensorMetadata": (
        *("time", "deviceID", "deviceMetadata", "rawData", "dataProcessingMethod", "bizRules"),
    ),
    "sensorReport": (
        *("type", "exception", "deviceID", "time", "microorganism", "chemicalSubstance", "value"),
        *("component", "minValue", "maxValue", "meanValue", "sDev", "percRank", "percValue"),
        *("uom", "coordinateReferenceSystem"),
    ),
}
_CBV: Final = "https://ref.gs1.org/cbv/"
# A bare word of the vocabulary stands for an address; which, depends on where it stands.
_WORDS: Final[Mapping[tuple[str, str], str]] = {
    ("", "bizStep"): f"{_CBV}BizStep-",
    ("", "disposition"): f"{_CBV}Disp-",
    ("bizTransactionList", "type"): f"{_CBV}BTT-",
    ("sourceList", "type"): f"{_CBV}SDT-",
    ("destinationList", "type"): f"{_CBV}SDT-",
    ("sensorReport", "type"): "https://gs1.org/voc/",
    ("sensorReport", "exception"): "https://gs1.org/voc/",
}


def event_hash(event: Mapping[str, Any], prefixes: Mapping[str, str]) -> str:
    """Return `ni:///sha-256;...?ver=CBV2.0` of an event as in JSON.

    `prefixes` gives the namespace that each prefix of an own field stands for. LookupError for an
    own field whose prefix is not there.
    """
    digest = hashlib.sha256(before_hashing(event, prefixes).encode()).hexdigest()
    return f"ni:///sha-256;{digest}?ver=CBV2.0"


def before_hashing(event: Mapping[str, Any], prefixes: Mapping[str, str]) -> str:
    """Return the text that is hashed: the event's fields in their one order, joined by nothing."""
    known = "".join(_field("", name, event[name], prefixes) for name in _IN_ORDER if name in event)
    own = {k: v for k, v in event.items() if k not in _IN_ORDER and k not in _LEFT_OUT}
    return f"eventType={event['type']}{known}{_own(own, prefixes)}"


def _field(inside: str, name: str, value: Any, prefixes: Mapping[str, str]) -> str:
    if isinstance(value, Sequence) and not isinstance(value, str):
        child = _IN_ORDER.get(name) or name
        parts = sorted(_item(name, child, one, prefixes) for one in value)
        return (name if name in _IN_ORDER else "") + "".join(parts)
    if isinstance(value, Mapping):
        return name + _content(name, value, prefixes)
    return f"{name}={_plain(inside, name, value)}"


def _item(name: str, child: str, value: Any, prefixes: Mapping[str, str]) -> str:
    if not isinstance(value, Mapping):
        return f"{child}={_plain(name, child, value)}"
    # A pair of type and value has no element of its own around it.
    return ("" if child == name and name in _IN_ORDER else child) + _content(child, value, prefixes)


def _content(name: str, value: Mapping[str, Any], prefixes: Mapping[str, str]) -> str:
    order = _INNER[name]
    known = "".join(_field(name, one, value[one], prefixes) for one in order if one in value)
    return known + _own({k: v for k, v in value.items() if k not in order}, prefixes)


def _own(fields: Mapping[str, Any], prefixes: Mapping[str, str]) -> str:
    parts = []
    for name, value in fields.items():
        prefix, colon, local = name.partition(":")
        full = f"{{{prefixes[prefix]}}}{local}" if colon else name
        for one in value if isinstance(value, list) else [value]:
            inner = _own(one, prefixes) if isinstance(one, Mapping) else f"={_number(one)}"
            parts.append(full + inner)
    return "".join(sorted(parts))


def _plain(inside: str, name: str, value: Any) -> str:
    if name.lower().endswith("time"):
        return _moment(str(value))
    text = _number(value)
    word = _WORDS.get((inside, name), "")
    return text if ":" in text else word + text


def _number(value: Any) -> str:
    text = str(value).strip()
    if isinstance(value, bool) or not isinstance(value, int | float):
        return text
    return str(int(value)) if int(value) == value else str(float(value))


def _moment(text: str) -> str:
    at = datetime.fromisoformat(text).astimezone(UTC)
    # To whole milliseconds, and a half goes up.
    at = (at + timedelta(microseconds=500)).replace(tzinfo=None)
    return at.isoformat(timespec="milliseconds") + "Z"

"""Event identifiers against published vectors.

Source: RalphTro/epcis-event-hash-generator (MIT, `published/LICENSE.event-hash`), tests/examples at
version 1.9.3: the reference description of the event hash of GS1 Core Business Vocabulary 2.0
(2022). Beside each event lie the text before hashing and the identifier. Read there.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from returns.tracing.sums.hashing import before_hashing, event_hash

HERE = Path(__file__).parent / "published"
PREFIXES = {"example": "https://ns.example.com/epcis/"}
# The vectors name things by GS1 keys, which this house does not have: written as the method writes
# them before it hashes (from the same files).
CANONICAL = {
    "urn:epc:id:sscc:4012345.0000000111": "https://id.gs1.org/00/040123450000001112",
    "urn:epc:id:sscc:4012345.0000000222": "https://id.gs1.org/00/040123450000002225",
    "urn:epc:id:sscc:4012345.0000000333": "https://id.gs1.org/00/040123450000003338",
    "urn:epc:id:sscc:4012345.1111111111": "https://id.gs1.org/00/140123451111111110",
    "urn:epc:id:sgln:4012345.00011.987": "https://id.gs1.org/414/4012345000115/254/987",
    "urn:epc:id:sgln:4012345.00011.0": "https://id.gs1.org/414/4012345000115",
    "urn:epc:id:sgln:4012345.00005.0": "https://id.gs1.org/414/4012345000054",
    "urn:epc:id:sgtin:4012345.011111.9876": "https://id.gs1.org/01/04012345111118/21/9876",
    "urn:epc:id:sgtin:0614141.011111.987": "https://id.gs1.org/01/00614141111114/21/987",
    "urn:epc:id:giai:4000001.111": "https://id.gs1.org/8004/4000001111",
    "urn:epc:id:gdti:4012345.11111.123": "https://id.gs1.org/253/4012345111118123",
    "urn:epc:id:pgln:4012345.00000": "https://id.gs1.org/417/4012345000009",
    "urn:epc:id:pgln:0614141.00000": "https://id.gs1.org/417/0614141000005",
}
CASES = [
    "ReferenceEventHashAlgorithm",
    "ReferenceEventHashAlgorithm2",
    "ReferenceEventHashAlgorithm3",
    "TimeStampRoundOff",
]


@pytest.mark.parametrize("case", CASES)
def test_event_hash_gives_the_published_text_and_identifier(case: str) -> None:
    text = (HERE / f"{case}.jsonld").read_text(encoding="utf-8")
    for urn, canonical in CANONICAL.items():
        text = text.replace(f'"{urn}"', f'"{canonical}"')
    for domain in ("id.gs1.de", "id.example.com"):
        text = text.replace(f"https://{domain}/", "https://id.gs1.org/")
    events = json.loads(text)["epcisBody"]["eventList"]
    texts = (HERE / f"{case}.prehashes").read_text(encoding="utf-8").split("\n")
    hashes = (HERE / f"{case}.hashes").read_text(encoding="utf-8").split()
    assert events
    assert [before_hashing(one, PREFIXES) for one in events] == [
        line for line in texts if line.strip()
    ]
    assert [event_hash(one, PREFIXES) for one in events] == hashes

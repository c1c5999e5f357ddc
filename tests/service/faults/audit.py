"""What stands in the books afterwards, held against what people were told and what was mailed.

Run in a process of its own with the workshop's settings: `python -m tests.service.faults.audit
told.json`. Prints its findings as JSON.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import django

_STORIES = {"frame": "weigh_in", "strip_down": "strip_down", "posted": "post_frame"}
_STORIES |= {"kit": "post_kit", "ground": "grind"}


def main() -> None:
    django.setup()
    told = json.loads(Path(sys.argv[1]).read_text())
    written: dict[str, list[dict[str, Any]]] = {}
    for one in told["written"]:
        written.setdefault(one["kind"], []).append(one)
    found = {
        "acknowledged": len(told["written"]),
        "by_kind": {kind: len(rows) for kind, rows in sorted(written.items())},
        "lost": [],
        "doubled": [],
        "stuck": _stuck(),
        "given up": _given_up(),
    }
    for check in (_filings, _frames, _movements, _months, _papers):
        check(written, found)
    _letters(told["mailed"], found)
    print(json.dumps(found))


def _once(found: dict[str, Any], what: str, wanted: Iterable[Any], there: Counter[Any]) -> None:
    """Note what of the wanted is not there, and what is there more than once."""
    for one in wanted:
        if there[one] == 0:
            found["lost"].append(f"{what} {one}")
    found["doubled"] += [f"{what} {one} x{times}" for one, times in there.items() if times > 1]


def _filings(written: dict[str, Any], found: dict[str, Any]) -> None:
    from returns.models import Photo, Request

    filed = [*written.get("send_back", []), *written.get("spare_screws", [])]
    rows = list(Request.objects.values_list("person__email", "reference"))
    _once(found, "filing", [one["more"]["email"] for one in filed], Counter(row[0] for row in rows))
    _once(found, "reference", [one["code"] for one in filed], Counter(row[1] for row in rows))
    photos = Counter(Photo.objects.values_list("request__reference", flat=True))
    with_photo = [one["code"] for one in filed if one["more"].get("photos")]
    _once(found, "photo of", with_photo, photos)
    from returns.filing.rules import photos as kept

    for name in Photo.objects.values_list("file_name", flat=True):
        if not kept.is_there(name) or kept.read(name)[-2:] != b"\xff\xd9":
            found["lost"].append(f"file of photo {name}")


def _frames(written: dict[str, Any], found: dict[str, Any]) -> None:
    from returns.models import BenchCheck, Grading, Parcel, RepairJob, ReturnedFrame

    parcels = Counter(Parcel.objects.values_list("request__reference", flat=True))
    _once(found, "parcel of", [o["more"]["request"] for o in written.get("parcel", [])], parcels)
    frames = Counter(ReturnedFrame.objects.values_list("parcel__code", flat=True))
    _once(found, "frame in", [o["more"]["parcel"] for o in written.get("frame", [])], frames)
    for kind, rows in (
        ("grading", Grading.objects.values_list("frame__tag", flat=True)),
        ("job", RepairJob.objects.values_list("frame__tag", flat=True)),
        ("check", BenchCheck.objects.values_list("job__frame__tag", flat=True)),
    ):
        wanted = [one["more"]["frame"] for one in written.get(kind, [])]
        _once(found, f"{kind} of", wanted, Counter(rows))
    ended = set(Parcel.objects.exclude(done_at=None).values_list("code", flat=True))
    for one in written.get("ending", []):
        if one["more"]["parcel"] not in ended:
            found["lost"].append(f"ending of {one['more']['parcel']}")


def _movements(written: dict[str, Any], found: dict[str, Any]) -> None:
    from inventory.models import GrindRun, Movement, PlaceKind, Posting

    for kind, movement in _STORIES.items():
        rows = Movement.objects.filter(kind=movement).values_list("subject", flat=True)
        wanted = [
            one["code"] if kind == "frame" else next(iter(one["more"].values()))
            for one in written.get(kind, [])
        ]
        if kind == "ground":
            # One whose figures looked implausible is posted once they are explained.
            held = set(GrindRun.objects.filter(state="held").values_list("code", flat=True))
            wanted = [code for code in wanted if code not in held]
        _once(found, f"{movement} of", wanted, Counter(rows))
    from_bins = Posting.objects.filter(movement__kind="fit_part", source__kind=PlaceKind.BIN)
    fitted: Counter[str] = Counter()
    for tag, pieces in from_bins.values_list("movement__subject", "quantity"):
        fitted[tag] += pieces
    mended = Counter(one["more"]["frame"] for one in written.get("step", []))
    for tag in mended:
        if fitted[tag] == 0:
            found["lost"].append(f"fitted part of {tag}")
        if fitted[tag] > mended[tag]:
            found["doubled"].append(f"fitted part of {tag}")
    runs = Counter(GrindRun.objects.values_list("code", flat=True))
    _once(found, "run", [one["code"] for one in written.get("run", [])], runs)


def _months(written: dict[str, Any], found: dict[str, Any]) -> None:
    from inventory.models import Month

    closed = Counter(Month.objects.values_list("label", flat=True))
    wanted = [one["more"]["month"] for one in written.get("closing", [])]
    _once(found, "closing of", wanted, closed)


def _papers(written: dict[str, Any], found: dict[str, Any]) -> None:
    from inventory.models import OutboxMessage, ReportFile
    from inventory.months.reports import pdf_files

    asked = [one["code"] for one in written.get("paper", [])]
    rows = {str(row.key): row for row in ReportFile.objects.all()}
    _once(found, "paper", asked, Counter(rows.keys()))
    duties = Counter(
        OutboxMessage.objects.filter(topic=pdf_files.TOPIC).values_list("payload__file", flat=True)
    )
    _once(found, "duty of paper", asked, duties)
    for key in asked:
        row = rows.get(key)
        if row is None:
            continue
        if key in found["given up"]:
            continue  # said on its page, and asked anew
        if row.state != ReportFile.State.READY:
            found["stuck"].append(f"paper {key} is {row.state}")
        elif not pdf_files.is_there(row) or b"%%EOF" not in pdf_files.opened(row).read()[-32:]:
            found["lost"].append(f"file of paper {key}")


def _letters(mailed: list[dict[str, Any]], found: dict[str, Any]) -> None:
    from inventory.models import Event, OutboxMessage
    from returns.letters import delivery

    times = Counter(one["id"] for one in mailed)
    rows = list(OutboxMessage.objects.filter(topic="letter").order_by("created_at"))
    keys = delivery.sent_keys(rows)
    sent = set(Event.objects.filter(name="letters.send").values_list("key", flat=True))
    mailed_for: dict[Any, set[str]] = {}
    for row in rows:
        name = f"<{row.pk}@"
        ids = {one for one in times if one.startswith(name)}
        mailed_for.setdefault(keys[row.pk], set()).update(ids)
    promised = {keys[row.pk] for row in rows if keys[row.pk] in sent}
    # What a filing promises is sent in any case; of a decision, what was still true when
    # it was due.
    promised |= {
        keys[row.pk]
        for row in rows
        if row.payload["letter"] in {"filed", "kit_reserved", "kit_posted"}
    }
    for key in promised:
        if not mailed_for[key]:
            found["lost"].append(f"letter {key}")
    for key, ids in mailed_for.items():
        if len(ids) > 1:
            found["doubled"].append(f"letter {key}: {sorted(ids)}")
    found["letters"] = {
        "promised": len(promised),
        "mailed": len({one for ids in mailed_for.values() for one in ids}),
        # The worker died between the mail server's answer and its own note of it. Both carry one
        # Message-ID, by which mail programs know them as one letter.
        "handed over again": sum(number - 1 for number in times.values()),
    }


def _given_up() -> dict[str, str]:
    """Papers whose worker was killed each time, by their key: the page says so and asks anew."""
    from django.utils import timezone

    from inventory.models import OutboxMessage, ReportFile
    from inventory.months.reports import pdf_files

    given_up = OutboxMessage.objects.filter(topic="report.pdf").exclude(given_up_at=None)
    rows = ReportFile.objects.filter(key__in=[row.payload["file"] for row in given_up])
    return {
        str(row.key): row.month
        for row in rows
        if row.state == ReportFile.State.FAILED or pdf_files.has_stalled(row, timezone.now())
    }


def _stuck() -> list[str]:
    from inventory.models import OutboxMessage, RequestKey

    waiting = OutboxMessage.objects.filter(settled_at=None).exclude(
        topic="report.pdf", given_up_at__isnull=False
    )
    found = [f"message {row.pk} {row.topic} {row.last_error}" for row in waiting]
    found += [f"key {row.pk}" for row in RequestKey.objects.filter(status=None)]
    return found


Check = Callable[[dict[str, Any], dict[str, Any]], None]

if __name__ == "__main__":
    main()

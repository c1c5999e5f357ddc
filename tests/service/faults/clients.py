"""People at work while everything falls over, and a note of each answer that they got.

Each sends the same request under the same key until it is answered: what a browser, a tablet or
another program does after an answer that did not come.
"""

from __future__ import annotations

import http.client
import io
import json
import random
import threading
import time
import uuid
from dataclasses import dataclass, field
from typing import Any

from tests.service.faults.house import HOST

PATIENCE_S = 600.0
_TIMEOUT_S = 75
_LOOK, _STRIP = (
    {"polymer": "ours"},
    {"scale": "Fine scale", "plastic": "19,450", "lenses": "5,200", "metal": "0,210"},
)
CHECK = {"closes_freely": True, "screw_flush": True, "lens_held": True, "no_sharp_edge": True}
# Answers that a person would try again after, unchanged.
_AGAIN = {429, 500, 502, 503, 504}


@dataclass(frozen=True)
class Acknowledged:
    """A write that was answered: what it was, its code, and when by the machine's own clock."""

    kind: str
    code: str
    more: dict[str, Any]
    began: float
    ended: float
    tries: int


@dataclass
class Notebook:
    """What all clients together were told."""

    written: list[Acknowledged] = field(default_factory=list)
    stuck: list[str] = field(default_factory=list)
    surprises: list[str] = field(default_factory=list)
    failures: dict[str, int] = field(default_factory=dict)
    asked_anew: set[str] = field(default_factory=set)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def note(self, written: Acknowledged) -> None:
        with self._lock:
            self.written.append(written)

    def failed(self, what: str) -> None:
        with self._lock:
            self.failures[what] = self.failures.get(what, 0) + 1


class Refused(Exception):
    """An answer that the same request will always get: the act was not done."""

    def __init__(self, status: int, body: Any) -> None:
        self.status, self.body = status, body
        self.code = str(body.get("type", "")).rpartition("#")[2] if isinstance(body, dict) else ""
        super().__init__(f"{status} {body}")


class Stuck(Exception):
    """No answer for longer than anybody waits."""


@dataclass
class Client:
    """One person or program, with the token of its login."""

    port: int
    book: Notebook
    over: threading.Event
    token: str = ""

    def get(self, path: str, **headers: str) -> Any:
        return self._patiently("GET", f"/api/{path}", None, headers)[0]

    def post(self, kind: str, path: str, body: Any = None, **more: Any) -> Any:
        """POST until it is answered, under one key, and note the answer under this kind."""
        content = json.dumps({} if body is None else body).encode()
        return self.send(kind, path, content, "application/json", **more)

    def send(self, kind: str, path: str, content: bytes, media: str, **more: Any) -> Any:
        headers = {"Content-Type": media, "Idempotency-Key": str(uuid.uuid4())}
        answer, began, tries = self._patiently("POST", f"/api/{path}", content, headers)
        code = next((str(answer[n]) for n in ("reference", "tag", "code") if n in answer), path)
        done = Acknowledged(kind, code, more, began, time.monotonic(), tries)
        self.book.note(done)
        return answer

    def _patiently(
        self, method: str, path: str, content: bytes | None, headers: dict[str, str]
    ) -> tuple[Any, float, int]:
        until, tries, last = time.monotonic() + PATIENCE_S, 0, ""
        while time.monotonic() < until:
            tries += 1
            began = time.monotonic()
            try:
                status, body = self.once(method, path, content, headers)
            except (OSError, http.client.HTTPException) as error:
                last = type(error).__name__
            else:
                if status < 300:
                    return body, began, tries
                last = f"{status} {_problem(body)}"
                if status not in _AGAIN and _problem(body) != "key-in-flight":
                    raise Refused(status, body)
            self.book.failed(last)
            time.sleep(min(2.0, 0.2 * tries))
        self.book.stuck.append(f"{method} {path}: {last}")
        raise Stuck(path)

    def once(
        self, method: str, path: str, content: bytes | None, headers: dict[str, str]
    ) -> tuple[int, Any]:
        """One try. The headers are those that the proxy in front would set."""
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=_TIMEOUT_S)
        sent = {"Host": HOST, "X-Forwarded-Proto": "https", "X-Forwarded-For": "192.0.2.7"}
        if self.token:
            sent["Authorization"] = f"Bearer {self.token}"
        try:
            link.request(method, path, content, sent | headers)
            answer = link.getresponse()
            raw = answer.read()
        finally:
            link.close()
        if "json" in answer.headers.get("Content-Type", ""):
            return answer.status, json.loads(raw)
        return answer.status, raw


def _problem(body: Any) -> str:
    return str(body.get("type", "")).rpartition("#")[2] if isinstance(body, dict) else ""


@dataclass(eq=False)
class Worker(threading.Thread):
    """Goes on until it is told to stop. What it did not expect is noted, and the next one begun."""

    client: Client
    draw: random.Random

    def __post_init__(self) -> None:
        super().__init__(daemon=True)

    def run(self) -> None:
        while not self.client.over.is_set():
            try:
                self.work()
            except Stuck:
                continue
            except Refused as refused:
                self.client.book.surprises.append(f"{type(self).__name__}: {refused}"[:400])
                time.sleep(1)
            except Exception as error:  # noqa: BLE001  nobody may leave without a word
                self.client.book.surprises.append(f"{type(self).__name__}: {error!r}"[:400])
                time.sleep(1)
            time.sleep(self.draw.uniform(0.05, 0.3))

    def work(self) -> None:
        raise NotImplementedError

    def filing(self, **more: Any) -> dict[str, Any]:
        """A filing of somebody who never filed before."""
        name = f"reed.{uuid.uuid4().hex[:12]}"
        return {
            "colourway": "avocet/slate",
            "note": "",
            "notice": "1",
            "name": f"Reed {name[5:]}",
            "email": f"{name}@example.org",
            "street": f"{self.draw.randint(1, 999)} Towpath",
            "postal_code": "24999",
            "city": "Saltmarsh",
            "country": "DE",
            **more,
        }


@dataclass(eq=False)
class Screws(Worker):
    """Asks for spare screws; the bench posts them."""

    bench: Client

    def work(self) -> None:
        body = self.filing(component="screw_left", defect="loose_screw")
        filed = self.client.post("spare_screws", "spare-screws/", body, email=body["email"])
        self.bench.post("kit", f"kits/{filed['reference']}/dispatches/", request=filed["reference"])


@dataclass(eq=False)
class Frames(Worker):
    """Sends a frame back; the bench takes it in, grades it, and mends it or takes it apart."""

    bench: Client

    def work(self) -> None:
        mended = self.draw.random() < 0.4
        trouble = ("arm_left" if mended else "front", "snapped")
        body = self.filing(
            component=trouble[0], defect=trouble[1], wish="regrind", lenses_back=False
        )
        filed = self._file(body)
        tag = self._weigh_in(filed["reference"])
        look = _LOOK | {"findings": [{"component": trouble[0], "defect": trouble[1]}]}
        look |= self._version(tag)
        grading = self.bench.post("grading", f"frames/{tag}/gradings/", look, frame=tag)
        if grading["decided"] == "repair":
            self._mend(tag)
        elif grading["decided"] == "regrind":
            self.bench.post("strip_down", f"frames/{tag}/strip-downs/", _STRIP, frame=tag)

    def _file(self, body: dict[str, Any]) -> Any:
        told = {"email": body["email"], "photos": 0}
        if self.draw.random() < 0.5:
            return self.client.post("send_back", "send-backs/", body, **told)
        content, media = _with_photo(body, self.draw)
        return self.client.send("send_back", "send-backs/", content, media, **told | {"photos": 1})

    def _weigh_in(self, reference: str) -> str:
        parcel = self.bench.post("parcel", "parcels/", {"request": reference}, request=reference)
        body = {
            "scale": "Fine scale",
            "mass": "24,880",
            "cleaned": True,
            "colourway": "avocet/slate",
        }
        path = f"parcels/{parcel['code']}"
        frame = self.bench.post("frame", f"{path}/frames/", body, parcel=parcel["code"])
        self.bench.post("ending", f"{path}/endings/", parcel=parcel["code"])
        return str(frame["tag"])

    def _version(self, tag: str) -> dict[str, int]:
        return {"version": self.bench.get(f"frames/{tag}/")["version"]}

    def _mend(self, tag: str) -> None:
        job = self.bench.post("job", f"frames/{tag}/jobs/", frame=tag)
        step = job["steps"][0]
        body = {
            "remedy": step["remedy"],
            "component": step["component"],
            "minutes": 8,
            "parts": [{"part": "arm-avocet", "pieces": 1}],
            "scanned": ["bin-arm-avocet"],
        }
        self.bench.post("step", f"frames/{tag}/job/steps/", body, frame=tag)
        body = CHECK | self._version(tag)
        self.bench.post("check", f"frames/{tag}/job/checks/", body, frame=tag)
        out = {"scale": "Fine scale", "mass": "24,880"}
        self.bench.post("weigh_out", f"frames/{tag}/job/weigh-outs/", out, frame=tag)
        self.bench.post("posted", f"frames/{tag}/dispatches/", {"scanned": tag}, frame=tag)


def _with_photo(body: dict[str, Any], draw: random.Random) -> tuple[bytes, str]:
    """The filing as a form with one picture."""
    from PIL import Image

    picture = io.BytesIO()
    colour = tuple(draw.randint(0, 255) for _channel in range(3))
    Image.new("RGB", (240, 160), colour).save(picture, "JPEG")
    border = uuid.uuid4().hex
    rows = [
        f'--{border}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in body.items()
    ]
    head = f'--{border}\r\nContent-Disposition: form-data; name="photos"; filename="a.jpg"\r\n'
    rows.append(f"{head}Content-Type: image/jpeg\r\n\r\n".encode() + picture.getvalue() + b"\r\n")
    return b"".join(
        [*rows, f"--{border}--\r\n".encode()]
    ), f"multipart/form-data; boundary={border}"


@dataclass(eq=False)
class Mill(Worker):
    """Grinds what is in the boxes, with the second person's word."""

    second: Client

    def work(self) -> None:
        boxes = self.client.get("boxes/")["results"]
        full = [box["code"] for box in boxes if box["mass_mg"] >= 60_000]
        if not full:
            time.sleep(1)
            return
        try:
            self._grind(self.draw.choice(full))
        except Refused as refused:
            # More came into the box meanwhile, or another run of it is open: a person begins anew.
            if refused.code not in {"box-changed", "conflict", "stale-state"}:
                raise

    def _grind(self, box: str) -> None:
        run = self._open(box) or self.client.post("run", "runs/", {"box": box})
        path = f"runs/{run['code']}"
        try:
            seen = {"seen_mg": run["box_mg"], "scanned": box}
            self.second.post("confirmed", f"{path}/confirmations/", seen, run=run["code"])
        except Refused as refused:
            if refused.code == "box-changed":
                self.client.post("cancelled", f"{path}/cancellations/", run=run["code"])
            raise
        flake = f"{run['box_mg'] // 1000 - 1} g"
        out = {"scale": "Box scale", "flake": flake, "minutes": 12}
        done = self.client.post("ground", f"{path}/weigh-outs/", out, run=run["code"])
        if done["state"] == "held":
            why = {"explanation": "The sieve was torn."}
            self.client.post("explained", f"{path}/explanations/", why, run=run["code"])

    def _open(self, box: str) -> Any:
        found = self.client.get(f"runs/?box={box}&state=proposed")["results"]
        return found[0] if found else None


@dataclass(eq=False)
class Books(Worker):
    """Closes months that are over and asks for their papers, on the accountant's pages."""

    session: str

    def work(self) -> None:
        listed = self.client.get("months/")["results"]
        over = [one for one in listed[1:] if not one["digest"]]
        if over and self.draw.random() < 0.15:
            label = over[-1]["label"]
            self.client.post("closing", f"months/{label}/closings/", month=label)
        else:
            self.paper(self.draw.choice(listed[1:])["label"])
        # A paper costs the worker seconds of drawing.
        self.client.over.wait(self.draw.uniform(3, 8))

    def paper(self, label: str) -> None:
        """Ask on the month's page, as its button does."""
        key, forged_not = str(uuid.uuid4()), "f" * 32
        headers = {
            "Content-Type": "application/x-www-form-urlencoded",
            "Cookie": f"__Host-session={self.session}; __Host-csrf={forged_not}",
            "X-CSRFToken": forged_not,
            "Referer": f"https://{HOST}/",
        }
        until, began = time.monotonic() + PATIENCE_S, time.monotonic()
        while time.monotonic() < until:
            began = time.monotonic()
            try:
                path = f"/months/{label}/pdf/"
                status, _page = self.client.once("POST", path, f"key={key}".encode(), headers)
            except (OSError, http.client.HTTPException) as error:
                self.client.book.failed(type(error).__name__)
            else:
                if status == 302:
                    ended = time.monotonic()
                    done = Acknowledged("paper", key, {"month": label}, began, ended, 1)
                    self.client.book.note(done)
                    return
                self.client.book.failed(f"{status} page")
            time.sleep(0.5)
        self.client.book.stuck.append(f"paper of {label}")

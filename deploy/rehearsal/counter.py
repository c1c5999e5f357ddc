"""The counter's part of the rehearsal: a walk-in, two frames in a request, a partner's box."""

from __future__ import annotations

import re
import uuid
import zlib
from dataclasses import dataclass
from typing import Final

from deploy.rehearsal.visitor import Form, Page, Stumble, Visitor

CODE: Final = "[2-9CDFGHJKMNPQRTWXY]{4}-[2-9CDFGHJKMNPQRTWXY]{4}"
MASS: Final = "24,31"
_ADDRESS: Final = {
    "name": "Rehearsal Reed",
    "street": "Deichstieg 1",
    "postal_code": "24999",
    "city": "Saltmarsh",
    "country": "DE",
    "notice": "on",
}
_TROUBLE: Final = {"component": "arm_left", "defect": "snapped", "lenses_back": "no"}


@dataclass
class Counter:
    """Plays what happens at the counter, as the people of a rehearsal that have signed in."""

    base_url: str
    bench: Visitor
    owner: Visitor

    def two_frames(self) -> str:
        """Two frames in one request, with two wishes, keep their wishes at the scale."""
        customer = Visitor("customer", self.base_url)
        page = customer.open("/ask/return/")
        page = customer.send(page.form_with("component"), add_frame="1", city="Kept")
        form = page.form_with("component", "f2-component")
        _hold(form.value("city") == "Kept", "adding a frame lost what was typed")
        answers = {
            **_ADDRESS,
            **_TROUBLE,
            **{f"f2-{name}": value for name, value in _TROUBLE.items()},
            "email": f"rehearsal.{uuid.uuid4().hex[:12]}@example.org",
            "colourway": form.choices["colourway"][0][0],
            "f2-colourway": form.choices["f2-colourway"][1][0],
            "wish": "regrind",
            "f2-wish": "post_back",
        }
        story = customer.send(form, **answers)
        reference = _code("Q", story.text)
        scale = self.bench.open(f"/go/?code={reference}")
        tags = [self._weigh(scale.form_with("mass"), answers["colourway"])]
        parcel = self.bench.open(f"/go/?code={_parcel_of(self.bench, reference)}")
        tags.append(self._weigh(parcel.form_with("mass"), answers["f2-colourway"], last="yes"))
        wishes = [self.bench.json(f"/api/frames/{tag}/")["wish"] for tag in tags]
        _hold(wishes == ["regrind", "post_back"], f"{reference}: the wishes are {wishes}")
        told = customer.open(story.url).text
        _hold(all(tag in told for tag in tags), f"{reference}: the story lacks a frame")
        return f"customer files two frames as {reference}; each keeps its own wish at the scale"

    def walk_in(self) -> str:
        """Somebody at the counter: one page, one press, a receipt."""
        page = self.bench.open("/bench/counter/")
        form = page.form_with("mass", "wish")
        answers = {**_ADDRESS, **_TROUBLE, "wish": "regrind", "consent": "screen"}
        facts = self._facts(form, form.choices["colourway"][1][0])
        page = self.bench.send(form, **answers, **facts)
        reference, tag = _code("Q", page.text), _code("F", page.text)
        receipt = self.bench.open(f"/bench/counter/{reference}/receipt.pdf")
        _hold(receipt.body.startswith(b"%PDF-"), "the receipt is no PDF")
        return f"bench takes {tag} in at the counter and prints the receipt of {reference}"

    def partners_box(self) -> str:
        """A partner's two slips: one wearer files before the box comes, one after."""
        page = self.owner.open("/owner/partners/")
        name = f"Rehearsal Optics {uuid.uuid4().hex[:6]}"
        page = self.owner.send(page.form_with("name", "town"), name=name, town="Saltmarsh")
        page = self.owner.send(page.form_with("count"), count="2")
        codes = sorted(set(re.findall(rf"\bQ-{CODE}\b", page.text)))
        sheet = self.owner.open(next(link for link in page.links if "/sheet/" in link))
        links = _links_of(sheet.body)
        _hold(len(links) == len(codes) == 2, f"the sheet has the links {links} for {codes}")
        first = _file(self.base_url, links[0])
        box = self.bench.open("/bench/partners/box/")
        box = self.bench.send(box.form_with("scans"), scans="\n".join(codes))
        other = next(code for code in codes if code != first)
        for code in (first, other):
            form = self.bench.open(box.url).form_with("mass")
            self._weigh(form, form.choices["colourway"][1][0], request=code)
        page_of = re.search(r"/partner/[\w-]{43}/", self.owner.open(page.url).text)
        _hold(page_of is not None, "the owner sees no link for the partner")
        partner = Visitor("partner", self.base_url).open(page_of[0] if page_of else "/")
        _hold("has not filed it yet" in partner.text, "the partner's page lacks what waits")
        _hold(_file(self.base_url, links[1]) == other, "a slip was filed under another's code")
        _hold("Rehearsal Reed" not in partner.text, "the partner's page names a wearer")
        return f"a partner's box brings {first} and {other}; the second is filed after it came"

    def _weigh(self, form: Form, colourway: str, **changes: str) -> str:
        page = self.bench.send(form, **self._facts(form, colourway), **changes)
        return _code("F", page.text)

    def _facts(self, form: Form, colourway: str) -> dict[str, str]:
        scale = next(value for value, _words in form.choices["scale"] if value)
        return {"mass": MASS, "scale": scale, "cleaned": "on", "colourway": colourway}


def _file(base_url: str, link: str) -> str:
    wearer = Visitor("wearer", base_url)
    form = wearer.open(link).form_with("colourway", "wish")
    page: Page = wearer.send(
        form,
        **_ADDRESS,
        **_TROUBLE,
        wish="regrind",
        email="rehearsal.slip@example.org",
        colourway=form.choices["colourway"][0][0],
    )
    _hold("/story/" in page.url, f"filing by slip led to {page.url}: {page.text[:600]}")
    return _code("Q", page.text)


def _links_of(pdf: bytes) -> list[str]:
    """The wearers' links on a sheet: a PDF keeps them in a packed stream."""
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL)
    texts = [zlib.decompressobj().decompress(one) for one in streams if one[:1] == b"x"]
    found = re.findall(rb"/slip/[\w-]{43}/", b" ".join(texts))
    return list(dict.fromkeys(one.decode() for one in found))


def _parcel_of(bench: Visitor, reference: str) -> str:
    return str(bench.json(f"/api/requests/{reference}/")["parcels"][0])


def _code(letter: str, text: str) -> str:
    found = re.search(rf"\b{letter}-{CODE}\b", text)
    if found is None:
        raise Stumble(f"no {letter}- code in: {text[:600]}")
    return found.group(0)


def _hold(holds: bool, words: str) -> None:
    if not holds:
        raise Stumble(words)

"""The main job as four people play it, each using only the pages and API that they can reach.

Every step prints what was seen; the first thing that does not hold raises `Stumble`. The
accountant's figures must move by exactly the grams that were put on the scale.
"""

from __future__ import annotations

import re
import time
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from deploy.rehearsal.counter import Counter
from deploy.rehearsal.visitor import Form, Page, Stumble, Visitor

# The alphabet of the codes, without characters that look alike on a label.
CODE = "[2-9CDFGHJKMNPQRTWXY]{4}-[2-9CDFGHJKMNPQRTWXY]{4}"
QUESTION, ANSWERS = "Which arm came off first?", ("the left one", "the right one")
MENDED_G, GROUND_G, PLASTIC_G, LENS_G, METAL_G = "24,31", "24.88 g", "19.52", "5.14", "0.21"
PLASTIC_MG = 19_520
TWO_G, FRONT_G, ARMS_G, TWO_LENS_G = "24.90 g", "11.22", "8.28", "5.18"
TWO_MG = 19_500
CARD_G, LOT_G, PAIRS = 200, "400 g", 8
WRONG_LABEL = "bin-arm-avocet"
PDF_PATIENCE_S = 120
ROLES = ("bench", "second", "accountant", "owner")


@dataclass
class Story:
    """One run against one address. `say` gets a line for each step."""

    base_url: str
    logins: Mapping[str, tuple[str, str]]
    zone: ZoneInfo
    say: Callable[[str], None]
    steps: int = 0
    credited_mg: int = 0
    people: dict[str, Visitor] = field(default_factory=dict)

    def tell(self) -> int:
        """Play everything. Returns the number of steps that held."""
        for role in ROLES:
            self._enter(role)
        # Compared by difference, so that it can be rehearsed on a service that is already in use.
        before = self._figures()
        owner_before = self._owner_counts()
        self._screws()
        mended = self._mended_frame()
        self._ground_frame()
        self._two_materials()
        self._goods()
        counter = Counter(self.base_url, self.people["bench"], self.people["owner"])
        for play in (counter.walk_in, counter.two_frames, counter.partners_box):
            self._saw(play())
        self._accountant(before)
        self._owner(owner_before)
        self._strangers(mended)
        return self.steps

    def _saw(self, words: str) -> None:
        self.steps += 1
        self.say(f"{self.steps:>3}  {words}")

    def _hold(self, holds: bool, words: str) -> None:
        if not holds:
            raise Stumble(words)

    def _enter(self, role: str) -> None:
        name, password = self.logins[role]
        visitor = self.people[role] = Visitor(name, self.base_url)
        page = visitor.open("/enter/")
        page = visitor.send(page.form_with("username"), username=name, password=password)
        self._hold(page.url.endswith("/desk/"), f"{name} could not sign in: {page.text[:300]}")
        self._saw(f"{name} ({role}) signs in and stands at the desk")

    def _customer(self, kind: str, place: int = 0, **answers: str) -> tuple[Visitor, Page, str]:
        """File as a customer, for the frame at a place of the list."""
        visitor = Visitor("customer", self.base_url)
        page = visitor.open(f"/ask/{kind}/")
        form = page.form_with("colourway", "component")
        page = visitor.send(
            form,
            colourway=form.choices["colourway"][place][0],
            name="Rehearsal Reed",
            email=f"rehearsal.{datetime.now(self.zone):%Y%m%d%H%M%S}@example.org",
            street="Deichstieg 1",
            postal_code="24999",
            city="Saltmarsh",
            country="DE",
            notice="on",
            **answers,
        )
        self._hold("/story/" in page.url, f"filing led to {page.url}: {page.text[:600]}")
        return visitor, page, _code("Q", page.text)

    def _screws(self) -> None:
        customer, story, reference = self._customer(
            "screws", component="screw_left", defect="loose_screw"
        )
        self._saw(f"customer asks for spare screws and gets {reference}")
        bench = self.people["bench"]
        page = bench.open(f"/bench/kits/{reference}/")
        page = bench.send(page.form_to(f"/kits/{reference}/"))
        page = customer.open(story.url)
        self._hold("post" in page.text.lower(), f"the story of {reference} tells of no posting")
        self._saw("bench posts the kit; the customer's story tells of it")

    def _mended_frame(self) -> str:
        customer, story, reference, tag = self._send_back("arm_left", "snapped", MENDED_G)
        self._ask(customer, story, tag)
        page = self._look(tag, "Repair", d_arm_left_snapped="on")
        self._saw(f"bench looks {tag} over; the sums say repair, with their reasons")
        self._mend(tag, page)
        page = customer.open(story.url)
        self._hold("posted" in page.text.lower(), f"{reference}: the story tells of no posting")
        self._saw(f"the customer of {reference} reads that the frame is on its way")
        return reference

    def _ask(self, customer: Visitor, story: Page, tag: str) -> None:
        """Ask about a frame: it waits, the customer answers by the link, it goes on."""
        bench = self.people["bench"]
        page = bench.open(f"/bench/frame/{tag}/ask/")
        bench.send(page.form_to("/ask/"), text=QUESTION, choices="\n".join(ANSWERS))
        page = bench.open("/bench/?step=asked")
        self._hold(
            tag in page.text, f"{tag} does not stand with the frames that wait for an answer"
        )
        page = bench.open(f"/bench/frame/{tag}/look/")
        page = bench.send(page.form_with("polymer"), polymer="ours", d_arm_left_snapped="on")
        refused = bench.try_to_send(page.form_with("shown"), 422, take="on")
        self._hold("waits for the answer" in refused.text, f"{tag} did not wait for the answer")
        page = customer.open(story.url)
        self._hold(QUESTION in page.text, f"{tag}: the story does not show the question")
        page = customer.open(next(link for link in page.links if "/question/" in link))
        page = customer.send(page.form_with("chosen"), chosen=ANSWERS[0])
        self._hold(f"You answered: “{ANSWERS[0]}”" in page.text, f"{tag}: no answer in the story")
        self._saw(f"bench asks about {tag} and it waits; the customer answers by the link")

    def _send_back(
        self, component: str, defect: str, mass: str, place: int = 0
    ) -> tuple[Visitor, Page, str, str]:
        answers = {"component": component, "defect": defect}
        customer, story, reference = self._customer(
            "return", place, wish="regrind", lenses_back="no", **answers
        )
        slip = customer.open(next(link for link in story.links if "slip.pdf" in link))
        self._hold(slip.body.startswith(b"%PDF-"), "the slip is no PDF")
        self._saw(f"customer files {reference} and prints the slip ({len(slip.body)} bytes)")
        return customer, story, reference, self._weigh_in(reference, mass)

    def _weigh_in(self, reference: str, mass: str) -> str:
        bench = self.people["bench"]
        page = bench.open(f"/go/?code={reference}")
        form = page.form_with("mass", "scale")
        scale = next(value for value, _words in form.choices["scale"] if value)
        page = bench.send(form, mass=mass, scale=scale, cleaned="on", last="yes")
        tag = _code("F", page.text)
        self._saw(f"bench books the parcel of {reference} and weighs {mass} in as {tag}")
        return tag

    def _look(self, tag: str, outcome: str, **findings: str) -> Page:
        """Look a frame over, take the answer that is shown, and go on to its deed."""
        bench = self.people["bench"]
        page = bench.open(f"/bench/frame/{tag}/look/")
        page = bench.send(page.form_with("polymer"), polymer="ours", **findings)
        self._hold("Nothing is written yet" in page.text, f"{tag}: no answer is shown first")
        found = page.text[400:900]
        self._hold(outcome in page.text, f"{tag} was not graded {outcome}: {found}")
        return bench.send(page.form_with("shown"), take="on")

    def _mend(self, tag: str, page: Page) -> None:
        """Mend on the page that the answer led to: the step, the check and the scale at once."""
        bench = self.people["bench"]
        ending = page.form_to("/mend/finish/")
        lines = ("closes_freely", "screw_flush", "lens_held", "no_sharp_edge")
        weighed = {"mass": MENDED_G, "scale": _first(ending, "scale")}
        holds = dict.fromkeys(lines, "yes")
        fails = holds | {"closes_freely": "no", "blamed": _first(ending, "blamed")}
        page = bench.send(ending, scanned=_bins(ending), **fails, **weighed)
        self._hold(
            "did not hold" in page.text, f"{tag}: a failed check was not said to have failed"
        )
        self._saw(
            "the bench check fails on one line: nothing is weighed out, the step is done anew"
        )
        ending = page.form_to("/mend/finish/")
        page = bench.send(ending, scanned=_bins(ending), **holds, **weighed)
        self._saw("bench mends: the part has left its bin, the check is passed, it is weighed out")
        posting = page.form_to(f"/{tag}/post/")
        refused = bench.try_to_send(posting, 422, scanned=WRONG_LABEL)
        self._hold(tag in refused.text, f"{tag}: the wrong label was not refused by its name")
        self._saw(f"a bin is scanned in place of {tag}: refused by its name, and nothing is posted")
        bench.send(posting, scanned=tag)
        self._saw(f"{tag} goes into the post")

    def _ground_frame(self) -> None:
        customer, story, reference, tag = self._send_back("front", "snapped", GROUND_G)
        page = self._look(tag, "Regrind", d_front_snapped="on", d_front_cracked_pivot="on")
        self._saw(f"bench looks {tag} over; the sums say regrind, and the wish allows it")
        bench = self.people["bench"]
        form = page.form_with("plastic", "lenses")
        scale = _named(form, page, "Fine scale")
        page = bench.send(
            form, scale=scale, plastic=PLASTIC_G, lenses=LENS_G, metal=METAL_G, foreign=""
        )
        self._saw(f"{tag} is stripped: {PLASTIC_G} g to its box, lenses and metal to theirs")
        self.credited_mg += PLASTIC_MG
        self._grind(tag, bench.json(f"/api/frames/{tag}/")["box"])
        page = customer.open(story.url)
        self._hold("lot" in page.text.lower(), f"{reference}: the story does not name the lot")
        self._saw(f"the customer of {reference} reads which lot the frame became")

    def _two_materials(self) -> None:
        """A frame whose arms are of another material, from the customer to a batch like it."""
        bench = self.people["bench"]
        ways = [
            (model["name"], way["colour_name"], way["code"], way)
            for model in bench.json("/api/models/?page_size=100")["results"]
            for way in model["colourways"]
            if way["active"]
        ]
        # As the form lists them: by model, then by colour.
        listed = [way for *_names, way in sorted(ways, key=lambda one: one[:3])]
        mixed = [way for way in listed if way["recipe"] and _arms_differ(way)]
        if not mixed:
            self._saw("no frame of two materials is on sale here: that part is left out")
            return
        way = mixed[0]
        customer, story, reference, tag = self._send_back(
            "front", "snapped", TWO_G, listed.index(way)
        )
        self._look(tag, "Regrind", d_front_snapped="on", d_front_cracked_pivot="on")
        heaps = self._strip_by_material(tag)
        for box in heaps:
            self._grind(tag, box)
        page = customer.open(story.url)
        self._hold(
            page.text.count("What frame") + page.text.count("What it became") >= len(heaps),
            f"{reference}: the story does not tell of both materials",
        )
        self._saw(f"the customer of {reference} reads what became of each material")
        self._weigh_card(way)

    def _strip_by_material(self, tag: str) -> list[str]:
        """Strip into one heap for each material. Returns the codes of their boxes."""
        bench = self.people["bench"]
        page = bench.open(f"/bench/frame/{tag}/strip/")
        form = page.form_with("plastic", "mixed")
        other = next(name for name, _sent in form.fields if name.startswith("heap-"))
        masses = {"plastic": FRONT_G, other: ARMS_G, "lenses": TWO_LENS_G, "metal": METAL_G}
        refused = bench.try_to_send(form, 422, mixed="1.00 g", **masses)
        self._hold("Choose the box" in refused.text, f"{tag}: a mixed heap went in silently")
        scale = _named(form, page, "Fine scale")
        bench.send(form, scale=scale, mixed="", **masses)
        heaps = bench.json(f"/api/frames/{tag}/")["heaps"]
        boxed_mg = sum(heap["mass_mg"] for heap in heaps)
        self._hold(boxed_mg == TWO_MG, f"{tag}: {boxed_mg} mg in boxes, not {TWO_MG} mg")
        self.credited_mg += TWO_MG
        self._saw(f"{tag} is stripped by material: {FRONT_G} g and {ARMS_G} g, each to its own box")
        return [heap["box"] for heap in heaps]

    def _weigh_card(self, way: dict[str, Any]) -> None:
        """Plan a batch of the blend, weigh it at the press past its tolerance and within it."""
        bench = self.people["bench"]
        for share in way["recipe"]:
            self._receive(share["colour"], way["polymer"])
        page = bench.open("/bench/cards/")
        form = page.form_with("blend", "wanted_for")
        batch = f"RE-{datetime.now(self.zone):%d%H%M%S}"
        page = bench.send(
            form,
            blend=way["colour"],
            polymer=way["polymer"],
            mass=f"{CARD_G} g",
            batch_code=batch,
            wanted_for=f"Fronts of {way['name']}",
        )
        card = _code("K", page.text)
        self._saw(f"bench plans batch {batch}: card {card} says which lots and how many grams")
        form = page.form_with("scanned", "reason")
        wanted = _wanted_g(page, form)
        codes = "\n".join(code for code, _grams in wanted.values())
        typed = {name: f"{grams} g" for name, (_code, grams) in wanted.items()}
        scale = _named(form, page, "Bench scale")
        # Less of the greatest share: of more there might not be enough, which is another refusal.
        most = max(wanted, key=lambda name: wanted[name][1])
        off = typed | {most: f"{wanted[most][1] - CARD_G // 5} g"}
        refused = bench.try_to_send(form, 422, scale=scale, scanned=codes, **off)
        self._hold(
            "Beyond the tolerance" in refused.text,
            f"{card}: a missed share was taken: {refused.text[:500]}",
        )
        page = bench.send(form, scale=scale, scanned=codes, **typed)
        self._hold("Shares reached" in page.text, f"{card}: no shares are shown")
        again = page.form_to(f"/{card}/again/")
        page = bench.send(again, batch_code=f"{batch}B")
        self._hold(_code("K", page.text) != card, f"{card}: no other card was made")
        bench.send(page.form_to("/drop/"))
        self._saw(f"{card} is weighed and issued; another batch like it takes only its code")
        self._press(way, batch)

    def _press(self, way: dict[str, Any], batch: str) -> None:
        """Mould the batch: arms of their own flake, the settings noted, a pair spoiled."""
        bench = self.people["bench"]
        arms = next(one["colour"] for one in way["differing"] if one["colour"])
        self._issue(arms, way["polymer"], batch)
        page = bench.open("/bench/stock/mould/")
        form = page.form_with("made_on", "pieces")
        looks = form.choices["colourway"]
        look = next(one for one, words in looks if way["name"] and way["name"] in words)
        page = bench.send(form, code=batch, colourway=look, pieces=str(PAIRS))
        noted = page.form_with("melt_temperature_c")
        page = bench.send(
            noted, mould_temperature_c="60", melt_temperature_c="208", work_minutes="40"
        )
        self._hold("Noted on the card" in page.text, f"{batch}: the settings were not kept")
        materials = bench.json(f"/api/batches/{batch}/")["materials"]
        self._hold(len(materials) == 2, f"{batch}: {materials} and not two materials")
        self._saw(f"{batch} is moulded: each material keeps its own heat passes; settings noted")
        page = bench.open("/bench/stock/spoiled/")
        form = page.form_with("step", "cause")
        pair = {"batch": batch, "step": "drilling", "cause": "hole-off", "pieces": "1"}
        pair |= {"goes": "box", "scale": _named(form, page, "Fine scale"), "mass": "11.20 g"}
        refused = bench.try_to_send(form, 422, **pair)
        self._hold("differ in material" in refused.text, f"{batch}: two colours went to one box")
        bench.send(form, colour=way["colour"], other_mass="8.20 g", other_colour=arms, **pair)
        page = bench.open("/bench/spoiled/")
        self._hold(batch in page.text, f"{batch}: its yield is not told")
        self._saw(f"a spoiled pair of {batch} is cut apart: each material to its own box")

    def _issue(self, colour: str, polymer: str, batch: str) -> None:
        """Issue the flake of one colour as the planner proposes it."""
        bench = self.people["bench"]
        self._receive(colour, polymer)
        asked = f"polymer={polymer}&colour={colour}&mass=100+g&colour_min=100&batch_code={batch}"
        page = bench.open(f"/bench/blend/?{asked}")
        way = next(link for link in page.links if "/stock/issue/" in link)
        codes = list(dict.fromkeys(re.findall(rf"L-{CODE}", page.text)))[: way.count("lot-")]
        page = bench.open(way)
        form = page.form_with("batch_code", "scanned")
        bench.send(form, scale=_named(form, page, "Bench scale"), scanned="\n".join(codes))

    def _goods(self) -> None:
        """A load of pots from a nursery: weighed, taken apart, boxed; its giver reads of it."""
        bench = self.people["bench"]
        page = bench.open("/bench/goods/receive/")
        form = page.form_with("kind", "way")
        facts = {"kind": "plant-pots", "way": "given", "giver_class": "nursery"}
        page = bench.send(
            form,
            scale=_named(form, page, "Box scale"),
            mass="2 kg",
            name="Rehearsal Nursery",
            **facts,
        )
        load = _code("W", page.text)
        page = bench.open(f"/bench/goods/{load}/take-out/")
        form = page.form_with("stream", "went")
        scale = _named(form, page, "Box scale")
        bench.send(form, stream="metal", went="sold", note="the smith", scale=scale, mass="150 g")
        page = bench.open(f"/bench/goods/{load}/finish/")
        form = page.form_with("mass_1", "colour_1")
        net = {"polymer_1": _first(form, "polymer_1"), "colour_1": _first(form, "colour_1")}
        bench.send(form, scale=scale, mass_1="1.7 kg", **net)
        told = bench.json(f"/api/goods/{load}/")
        self._hold((told["state"], told["left_mg"]) == ("finished", 0), f"{load}: {told}")
        receipt = bench.open(f"/bench/goods/{load}/receipt/")
        link = re.search(r"/goods/[\w-]{20,}/", receipt.text)
        self._hold(link is not None, f"{load}: the receipt shows no private link")
        page = Visitor("giver", self.base_url).open(link[0] if link else "/")
        self._hold("Rehearsal Nursery" not in page.text, f"{load}: the link names its giver")
        self._saw(f"a nursery's load {load} closes to the gram; its giver's link tells of it")

    def _receive(self, colour: str, polymer: str) -> None:
        """Take in a lot of a colour, so that the recipe can be weighed on an empty shelf too."""
        bench = self.people["bench"]
        page = bench.open("/bench/stock/feedstock/")
        form = page.form_with("origin", "into")
        bench.send(
            form,
            polymer=_choice(form, "polymer", polymer),
            colour=_choice(form, "colour", colour),
            origin="post_consumer_feedstock",
            into="lot",
            passes="1",
            scale=_named(form, page, "Bench scale"),
            mass=LOT_G,
        )

    def _grind(self, tag: str, box: str) -> None:
        bench, second = self.people["bench"], self.people["second"]
        self._clear(box)
        page = bench.open("/bench/boxes/")
        page = bench.send(page.form_to(f"/boxes/{box}/propose/"))
        run = _code("G", page.text)
        # Built by hand: the page offers its proposer no such form, and the rule must refuse all the
        # same.
        alone = Form(f"{self.base_url.rstrip('/')}/bench/run/{run}/confirm/", "post")
        alone.fields = [pair for pair in page.form_to("/leave/").fields if pair[0] != "next"]
        alone.fields += [
            ("key", str(uuid.uuid4())),
            ("seen_mg", str(_box_mg(bench, run))),
            ("scanned", box),
        ]
        refused = bench.try_to_send(alone, 422)
        self._hold("Somebody other than" in refused.text, f"{run}: the proposer was not refused")
        self._saw(f"bench proposes {run}; the same person cannot confirm it")
        page = second.open(f"/bench/run/{run}/")
        refused = second.try_to_send(page.form_to("/confirm/"), 422, scanned=tag)
        self._hold(tag in refused.text, f"{run}: a label of no box was not refused by its name")
        page = second.send(page.form_to("/confirm/"), scanned=box)
        box_mg = _box_mg(second, run)
        finish = page.form_with("flake")
        # Rounded down to 10 mg, which the bench scale can show.
        flake_mg = box_mg * 98 // 100 // 10 * 10
        page = second.send(
            finish,
            scale=_named(finish, page, "Bench scale"),
            flake=f"{flake_mg / 1000:.2f} g",
            dust="",
            purge="",
            moisture="",
            minutes="20",
        )
        state = second.json(f"/api/runs/{run}/")["state"]
        self._hold(state == "finished", f"{run} is {state}, not finished: {page.text[400:900]}")
        self._saw(f"a second person confirms at the box and finishes {run}: {flake_mg} mg of flake")

    def _clear(self, box: str) -> None:
        """Cancel a run that somebody proposed on this box and left."""
        bench = self.people["bench"]
        for run in bench.json("/api/runs/?page_size=100")["results"]:
            if run["box"] == box and run["state"] in {"proposed", "confirmed"}:
                page = bench.open(f"/bench/run/{run['code']}/")
                bench.send(page.form_to("/cancel/"))
                self._saw(f"a run left open on {box}, {run['code']}, is cancelled first")

    def _figures(self) -> dict[str, Any]:
        label = f"{datetime.now(self.zone):%Y-%m}"
        report: dict[str, Any] = self.people["accountant"].json(f"/api/months/{label}/report/")
        return report

    def _accountant(self, before: dict[str, Any]) -> None:
        after = self._figures()
        credited_mg = _credited(after) - _credited(before)
        self._hold(
            credited_mg == self.credited_mg,
            f"credited from returns moved by {credited_mg} mg, not by {self.credited_mg} mg",
        )
        self._saw(f"accountant's report: credited from returns moved by {credited_mg} mg exactly")
        label = f"{datetime.now(self.zone):%Y-%m}"
        page = self.people["accountant"].open(f"/months/{label}/report/")
        for name in ("csv", "xlsx", "json"):
            link = next((one for one in page.links if one.endswith(f".{name}")), "")
            self._hold(bool(link), f"the month's page offers no {name}")
            file = self.people["accountant"].open(link)
            self._hold(len(file.body) > 200, f"the {name} is empty")
        self._saw("accountant downloads CSV, XLSX and JSON")
        self._pdf(label)

    def _pdf(self, label: str) -> None:
        """Have the worker make the PDF, and look at the page again until it is there."""
        accountant = self.people["accountant"]
        page = accountant.open(f"/months/{label}/")
        page = accountant.send(page.form_to(f"/months/{label}/pdf/"))
        # Monotonic: a clock that is set meanwhile must not end the waiting.
        deadline = time.monotonic() + PDF_PATIENCE_S
        while time.monotonic() < deadline:
            if page.body.startswith(b"%PDF-"):
                self._saw(f"the worker has made the month's PDF ({len(page.body)} bytes)")
                return
            ready = [one for one in page.links if "/pdf/" in one and "#" not in one]
            if ready:
                page = accountant.open(ready[0])
                continue
            time.sleep(1)
            page = accountant.open(page.url)
        raise Stumble(f"no PDF within {PDF_PATIENCE_S} s: {page.text[:600]}")

    def _owner_counts(self) -> dict[str, Any]:
        label = f"{datetime.now(self.zone):%Y-%m}"
        facts: dict[str, Any] = self.people["owner"].json(
            f"/api/circularity/?from={label}&to={label}"
        )
        return facts

    def _owner(self, before: dict[str, Any]) -> None:
        page = self.people["owner"].open("/owner/")
        self._hold(page.status == 200, "the owner's page does not open")
        self._hold(self._owner_counts() != before, "the owner's figures did not move")
        self._saw("owner's figures have moved with the frames")

    def _strangers(self, reference: str) -> None:
        stranger = Visitor("stranger", self.base_url)
        page = stranger.open(f"/go/?code={reference}")
        self._hold("/enter/" in page.url, "a stranger reached the bench by a reference")
        page = stranger.open(f"/story/{reference}/", expect=404)
        self._saw("a stranger with the reference alone learns nothing")
        self.people["accountant"].open("/bench/", expect=403)
        self.people["bench"].open("/months/", expect=403)
        self._saw("accountant is kept off the bench, and the bench off the books")


def _arms_differ(way: Mapping[str, Any]) -> bool:
    return any(one["colour"] for one in way["differing"])


def _choice(form: Form, name: str, code: str) -> str:
    """Return what stands for a code in a choice whose words begin with it."""
    return next(one for one, words in form.choices[name] if words.lower().startswith(code.lower()))


def _wanted_g(page: Page, form: Form) -> dict[str, tuple[str, int]]:
    """Return by the field of each lot on a card its code and the grams to take, rounded down."""
    names = [name for name, _sent in form.fields if name.startswith("lot-")]
    found = re.findall(rf"(L-{CODE}).*?(\d+)(?:\.\d+)? g\b", page.text, re.DOTALL)
    return {name: (code, int(grams)) for name, (code, grams) in zip(names, found, strict=False)}


def _bins(step: Form) -> str:
    """Return the labels of the bins of a step's planned parts, one a line, as a hand scans them."""
    parts = [name.removeprefix("part-") for name, _sent in step.fields if name.startswith("part-")]
    return "\n".join(f"bin-{code}" for code in parts)


def _code(letter: str, text: str) -> str:
    found = re.search(rf"\b{letter}-{CODE}\b", text)
    if found is None:
        raise Stumble(f"no {letter}- code in: {text[:600]}")
    return found.group(0)


def _first(form: Form, name: str) -> str:
    return next(value for value, _words in form.choices[name] if value)


def _named(form: Form, page: Page, words: str) -> str:
    found = [value for value, data in form.choices["scale"] if words in data and value]
    if not found:
        raise Stumble(f"{page.url}: no scale named {words}")
    return found[0]


def _answers(form: Form, wanted: Mapping[str, str]) -> dict[str, str]:
    """Return those of the wanted answers that the form asks; else a group's first choice."""
    answers = {}
    for name, value in wanted.items():
        if name in form.choices:
            offered = [choice for choice, _words in form.choices[name]]
            answers[name] = value if value in offered else offered[0]
    return answers


def _box_mg(visitor: Visitor, run: str) -> int:
    return int(visitor.json(f"/api/runs/{run}/")["box_mg"])


def _credited(report: dict[str, Any]) -> int:
    """Return milligrams credited to boxes from returns, summed over the report's rows."""
    cells = [row["flows"]["cells"].get("credited", {}) for row in report["figures"]["material"]]
    return sum(int(cell.get("quantity", 0)) for cell in cells)

"""Where every staff page is found, in each of the states that show another form.

The rows come from the table of all addresses; a row that shows no page here fails the walks.
"""

from __future__ import annotations

import re

from django.contrib.auth.models import User
from django.test import Client

from inventory.ledger.rules import places
from inventory.material.rules import cards, grinding, material
from inventory.material.rules.grinding import GrindOut
from inventory.models import GrindRun, Movement, RecipeCard
from returns.arriving.rules import WeighIn
from returns.asking import rules as asking
from returns.asking.rules import Asked
from returns.auditing import rules as auditing
from returns.counter import rules as counter
from returns.filing.rules import intake
from returns.grading.queries.facts import Seen
from returns.grading.rules import lookover
from returns.grading.rules.lookover import Look
from returns.grading.sums import PolymerCheck
from returns.mending.rules import mending
from returns.models import ReturnedFrame
from returns.partners import rules as partners
from returns.setup.pages.steps import PAGES
from returns.stock.pages.stock import ACTIONS
from returns.story.sums.states import FrameState
from tests.access.table import NOBODY, TABLE
from tests.access.test_walk import address
from tests.inventory.material.test_material import delivery, pots
from tests.makers import NOON, Shop, key
from tests.returns import (
    bench_makers,
    customer_makers,
    goods_makers,
    material_makers,
    workroom_makers,
)
from tests.returns.regrind.test_stripdown import parts, strip, to_strip

# What these answer is a file, or they only lead on.
NO_PAGES = (
    "photo/<str:file_name>/",
    "bench/photo/<str:file_name>",
    "bench/taken/<str:file_name>",
    "months/<str:label>/pdf/",
    "health/",
    "metrics/",
    "bench/goods/evidence/<str:file_name>",
    "owner/traceability/events.jsonld",
)
ROWS = tuple(
    row
    for row in TABLE
    if row.get
    and NOBODY not in row.get
    and not row.is_api
    and not row.route.endswith((".pdf", ".csv", "files/<str:name>", "pdf/<uuid:key>/"))
    and row.route not in NO_PAGES
)


def addresses(
    shop: Shop, arguments: dict[str, str], by: User, second: User
) -> dict[str, list[str]]:
    """By route, its addresses: as the walk over all doors has them, and more states of the bench.

    `by` proposes and works; `second` is who opens the pages.
    """
    found = {row.route: [address(row, arguments)] for row in ROWS}
    found["bench/stock/<slug:action>/"] = [f"/bench/stock/{name}/" for name in ACTIONS]
    found["owner/setup/<slug:step>/"] = [
        f"/owner/setup/{name}/" for name, page in PAGES.items() if page.form
    ]
    for route, more in (_frames(shop, by) | _material(shop, by, second)).items():
        found[route] = [*more, *found[route]]
    found |= _goods(shop, by)
    kit = arguments["reference"]
    found["bench/request/<str:reference>/"] = [f"/bench/request/{kit}/", _awaited(shop)]
    found["owner/personal/<str:reference>/erase/"].append(f"/owner/personal/{_over(shop)}/erase/")
    found["months/<str:label>/close/"].append("/months/2026-09/close/")
    found["months/<str:label>/figure/<str:row>/<slug:column>/"] = [_figure(second)]
    found["movements/<int:number>/"] += [f"/movements/{one.number}/" for one in _latest()]
    found["owner/people/<int:number>/"] = [f"/owner/people/{by.pk}/"]
    found["owner/audits/<int:number>/"] = [_audit(by)]
    found["owner/partners/<int:number>/"] = _partners(second)
    found["bench/counter/<str:reference>/"] = [_walk_in(shop, by)]
    return found


def _awaited(shop: Shop) -> str:
    return f"/bench/request/{bench_makers.filed(shop.avocet_slate).reference}/"


def _figure(reader: User) -> str:
    """The first figure of the month's report that can be followed."""
    client = Client()
    client.force_login(reader)
    report = client.get("/months/2026-10/report/").content.decode()
    return str(re.findall(r'href="(/months/2026-10/figure/[^"#]+)', report)[0])


def _over(shop: Shop) -> str:
    """The reference of a request whose data may be deleted."""
    request = customer_makers.sent_back(shop)
    return str(intake.withdraw(key=key(), request=request, at=NOON).reference)


def _latest() -> list[Movement]:
    return list(Movement.objects.order_by("-number")[:2])


def _frames(shop: Shop, by: User) -> dict[str, list[str]]:
    """A frame at each turn of the bench."""
    weighed = bench_makers.on_shelf(shop, by)
    graded = [_graded(shop, by, *one) for one in (("arm_left", "snapped"), ("front", "snapped"))]
    to_mend = workroom_makers.graded(shop, by, workroom_makers.POLISH)
    with_parts = workroom_makers.graded(shop, by, workroom_makers.NEW_ARM)
    workroom_makers.opened(with_parts, by)
    done = workroom_makers.opened(workroom_makers.graded(shop, by, workroom_makers.POLISH), by)
    workroom_makers.do(done, by)
    passed = workroom_makers.opened(workroom_makers.graded(shop, by, workroom_makers.POLISH), by)
    workroom_makers.do(passed, by)
    mending.check(key=key(), job=passed, check=workroom_makers.PASS, at=NOON, by=by)
    mended = workroom_makers.mended(shop, by)
    as_is = workroom_makers.graded(shop, by, state=FrameState.TO_RETURN)
    lenses = strip(to_strip(shop, by, lenses_back=True), parts(shop), by)
    waiting = to_strip(shop, by)
    asked = bench_makers.on_shelf(shop, by, customer_makers.sent_back(shop))
    question = Asked("Which arm is it?", ("left", "right"))
    asking.ask(key=key(), frame=asked, asked=question, at=NOON, by=by)
    return {
        "bench/frame/<str:tag>/": _of("", weighed, *graded, asked),
        "bench/frame/<str:tag>/ask/": _of("ask/", asked, *graded),
        "bench/frame/<str:tag>/look/": _of("look/", weighed),
        "bench/frame/<str:tag>/mend/": _of("mend/", to_mend, with_parts, done.frame, passed.frame),
        "bench/frame/<str:tag>/strip/": _of("strip/", waiting),
        "bench/frame/<str:tag>/post/": _of("post/", mended, as_is, lenses),
    }


def _graded(shop: Shop, by: User, component: str, defect: str) -> ReturnedFrame:
    """Looked over in earnest: its page shows the sums."""
    frame = bench_makers.on_shelf(shop, by, customer_makers.sent_back(shop))
    look = Look(findings=[Seen(component, defect)], polymer=PolymerCheck.OURS)
    lookover.grade(key=key(), frame=frame, look=look, at=NOON, by=by)
    return ReturnedFrame.objects.get(pk=frame.pk)


def _of(page: str, *frames: ReturnedFrame) -> list[str]:
    return [f"/bench/frame/{frame.tag}/{page}" for frame in frames]


def _material(shop: Shop, by: User, second: User) -> dict[str, list[str]]:
    """Runs that wait for the second hand, for the weigh-out and for an explanation; a lot."""
    runs = {}
    for origin in ("post_consumer_feedstock", "in_process", "virgin"):
        facts = delivery(shop, by, material=pots(shop, colour=shop.moss, origin=origin))
        material.open_box(**facts)
        box = places.box(polymer=shop.pp, colour=shop.moss, origin=origin)
        runs[origin] = grinding.propose(key=key(), box=box, at=NOON, by=by)
    confirmed, held = runs["in_process"], runs["virgin"]
    for run in (confirmed, held):
        _confirm(run, second)
    out = GrindOut(scale=shop.box_scale, flake="2 kg", minutes=9)
    grinding.finish(key=key(), run=held, out=out, at=NOON, by=by)
    lot = material.receive_as_lot(**delivery(shop, by))
    return {
        "bench/run/<str:code>/": [f"/bench/run/{run.code}/" for run in runs.values()],
        "bench/heat/<path:code>/": [f"/bench/heat/{lot.code}/"],
        "bench/cards/<str:code>/": _cards(shop, by),
        # The blend that the cards are made for.
        "owner/blends/<slug:code>/": [
            f"/owner/blends/{code}/"
            for code in RecipeCard.objects.values_list("blend__code", flat=True).distinct()
        ],
    }


def _goods(shop: Shop, by: User) -> dict[str, list[str]]:
    """A load that is being sorted and one that is sorted, each with something kept; a picture."""
    sorting, done = goods_makers.kept(shop, by), goods_makers.sorted_load(shop, by)
    picture = goods_makers.evidence(done, by)
    acts = [(sorting, ("take-out", "finish", "undo")), (done, ("pick-out", "pass-on", "forget"))]
    loads = [f"/bench/goods/{load.code}/" for load in (sorting, done)]
    return {
        "bench/goods/<str:code>/": loads,
        "bench/goods/<str:code>/evidence/": [f"{loads[0]}evidence/"],
        "bench/goods/<str:code>/receipt/": [f"{loads[1]}receipt/"],
        "bench/goods/<str:code>/<slug:action>/": [
            f"/bench/goods/{load.code}/{name}/" for load, names in acts for name in names
        ],
        "bench/goods/evidence/<str:file_name>/delete/": [
            f"/bench/goods/evidence/{picture.file_name}/delete/"
        ],
    }


def _cards(shop: Shop, by: User) -> list[str]:
    """A card that is to be weighed, and one that was dropped and may be repeated."""
    tideline = material_makers.blend(shop, by)
    for colour in (shop.slate, shop.moss):
        material_makers.lot_of(shop, colour, "12 kg", by)
    open_, dropped = (material_makers.card(shop, by, tideline) for _ in range(2))
    cards.drop(key=key(), card=dropped, at=NOON, by=by)
    return [f"/bench/cards/{one.code}/" for one in (open_, dropped)]


def _confirm(run: GrindRun, by: User) -> None:
    grinding.confirm(key=key(), run=run, seen_mg=run.box_mg, scanned=run.box.code, at=NOON, by=by)


def _partners(by: User) -> list[str]:
    """A partner with slips, and one whose link is revoked."""
    facts = {"town": "Saltmarsh", "at": NOON, "by": by}
    one, other = (partners.add(key=key(), name=name, **facts) for name in ("Lantern", "Pier"))
    partners.print_sheet(key=key(), partner=one, count=2, at=NOON, by=by)
    partners.close(key=key(), partner=other, at=NOON, by=by)
    return [f"/owner/partners/{partner.pk}/" for partner in (one, other)]


def _walk_in(shop: Shop, by: User) -> str:
    weighing = WeighIn(scale=shop.fine_scale, mass="24.82", cleaned=True, reason="it is light")
    filing = customer_makers.filing(shop)
    facts = {"filing": filing, "weighing": weighing, "consent": "screen"}
    taken = counter.take_in(key=key(), at=NOON, by=by, **facts)
    return f"/bench/counter/{taken.request.reference}/"


def _audit(by: User) -> str:
    audit = auditing.draw(key=key(), month="2026-10", quality_limit="4.0", at=NOON, by=by)
    return f"/owner/audits/{audit.pk}/"

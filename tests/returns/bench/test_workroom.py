"""The workroom's pages: who may open them, and each action from its form to the ledger and back."""

from __future__ import annotations

import io
import re
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from inventory.furniture.wording import uncertainty
from inventory.ledger.rules import places
from inventory.material.rules import grinding, material
from inventory.material.sums import heat
from inventory.models import GrindRun, Lot, Movement, Place, PlaceKind
from inventory.parts import queries as part_stock
from inventory.parts import rules as stock
from inventory.weighing.queries import readings
from returns.filing.rules import intake
from returns.kits.rules import kits
from returns.models import (
    BenchCheck,
    Dispatch,
    Finding,
    JobStep,
    Person,
    ProductionBatch,
    Remedy,
    RepairJob,
    Request,
    ReturnedFrame,
)
from returns.regrind.rules import stripdown
from returns.regrind.rules.stripdown import StripDown
from tests import makers
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import filed
from tests.returns.workroom_makers import NEW_ARM, POLISH, do, graded, held, mended, opened

pytestmark = pytest.mark.django_db
Told = dict[str, Any]


@pytest.fixture
def desk(client: Client, bea: User) -> Client:
    client.force_login(bea)
    return client


def send(client: Client, name: str, *args: object, **told: object) -> Any:
    told.setdefault("key", str(uuid.uuid4()))
    return client.post(reverse(name, args=args), told)


def now(frame: ReturnedFrame) -> ReturnedFrame:
    return ReturnedFrame.objects.get(pk=frame.pk)


def page(client: Client, name: str, *args: object) -> str:
    answer = client.get(reverse(name, args=args))
    assert answer.status_code == 200
    return answer.content.decode()


def clean(text: str) -> str:
    """No inline style and no inline script: the policy would drop them."""
    assert "style=" not in text
    assert not re.search(r"<script(?![^>]*src=)", text)
    return text


@pytest.mark.parametrize("name", ["kits", "boxes", "stock"])
def test_strangers_go_to_the_entrance_and_other_roles_are_refused(
    client: Client, acke: User, name: str
) -> None:
    assert client.get(reverse(name)).status_code == 302
    client.force_login(acke)
    assert client.get(reverse(name)).status_code == (200 if name == "stock" else 403)


@pytest.mark.parametrize(
    ("name", "args"),
    [
        ("mend", ["F-NONE"]),
        ("strip", ["F-NONE"]),
        ("post-frame", ["F-NONE"]),
        ("kit", ["Q-NONE"]),
        ("run", ["G-NONE"]),
        ("stock-action", ["fly"]),
        ("post-label", ["F-NONE"]),
    ],
)
def test_unknown_things_are_not_found(desk: Client, name: str, args: list[str]) -> None:
    assert desk.get(reverse(name, args=args)).status_code == 404


@pytest.mark.parametrize("state", ["weighed", "mended", "posted", "boxed"])
def test_pages_of_a_frame_in_another_state_say_so(
    desk: Client, shop: Shop, bea: User, state: str
) -> None:
    frame = graded(shop, bea, POLISH, state=state)
    assert "not to be mended now" in page(desk, "mend", frame.tag)
    assert "not to be stripped now" in page(desk, "strip", frame.tag)


HOLDS: Told = dict.fromkeys(("closes_freely", "screw_flush", "lens_held", "no_sharp_edge"), "yes")


@pytest.mark.parametrize("left", HOLDS)
def test_check_with_a_line_left_open_is_refused_beside_it(
    desk: Client, shop: Shop, bea: User, left: str
) -> None:
    frame = graded(shop, bea, POLISH)
    do(opened(frame, bea), bea)
    data = {name: word for name, word in HOLDS.items() if name != left}
    answer = send(desk, "mend-act", frame.tag, "check", **data)
    assert answer.status_code == 422
    assert set(answer.context["check_form"].errors) == {left}
    answer = send(desk, "mend-act", frame.tag, "check", **(HOLDS | {left: "no"}))
    assert set(answer.context["check_form"].errors) == {"blamed"}
    assert not BenchCheck.objects.exists()


def test_step_is_named_and_the_check_withdrawn_from_the_page(
    desk: Client, shop: Shop, bea: User
) -> None:
    frame = graded(shop, bea, POLISH)
    do(opened(frame, bea), bea, at=timezone.now())
    step = JobStep.objects.get()
    assert "Withdraw the step" in page(desk, "mend", frame.tag)
    data = HOLDS | {"lens_held": "no", "blamed": str(step.pk)}
    assert send(desk, "mend-act", frame.tag, "check", **data).status_code == 302
    text = page(desk, "mend", frame.tag)
    assert f"The last check did not hold: {step.remedy.name}, front." in clean(text)
    assert "Withdraw the step" not in text
    check = BenchCheck.objects.get()
    data = {"check": check.pk, "reason": "wrong frame in hand"}
    assert send(desk, "mend-act", frame.tag, "withdraw-check", **data).status_code == 302
    assert "wrong frame in hand" in page(desk, "mend", frame.tag)
    data = {"reason": "not done yet"}
    assert send(desk, "mend-withdraw", frame.tag, step.pk, **data).status_code == 302
    assert "not done yet" in page(desk, "mend", frame.tag)
    assert JobStep.objects.filter(done_at=None).count() == 1


def test_frame_is_mended_from_the_plan_to_the_weigh_out(
    desk: Client, shop: Shop, bea: User
) -> None:
    frame = graded(shop, bea, NEW_ARM)
    assert "Start mending" in clean(page(desk, "mend", frame.tag))
    send(desk, "mend-open", frame.tag)
    job = RepairJob.objects.get()
    step = job.steps.get()
    assert "Arm, Avocet" in clean(page(desk, "mend", frame.tag))
    data: Told = {"minutes": "9", "part-arm-avocet": "1", "scanned": "bin-arm-avocet\n"}
    assert send(desk, "mend-step", frame.tag, step.pk, **data).status_code == 302
    assert part_stock.held(shop.arm) == 5
    assert "Bench check" in page(desk, "mend", frame.tag)
    send(desk, "mend-act", frame.tag, "check", **HOLDS)
    assert "Weigh it out" in clean(page(desk, "mend", frame.tag))
    answer = send(desk, "mend-act", frame.tag, "weigh-out", scale=shop.fine_scale.pk, mass="24,81")
    assert answer.headers["Location"] == reverse("post-frame", args=[frame.tag])
    assert now(frame).state == "mended"


def test_failed_check_offers_the_step_anew_and_giving_up(
    desk: Client, shop: Shop, bea: User
) -> None:
    frame = graded(shop, bea, POLISH)
    do(opened(frame, bea), bea)
    data = HOLDS | {"lens_held": "no", "blamed": "nobody"}
    send(desk, "mend-act", frame.tag, "check", **data)
    text = page(desk, "mend", frame.tag)
    assert "The last check did not hold, and nobody could tell" in text
    assert "Done anew" in text
    assert "Note the check" not in text
    answer = send(desk, "mend-act", frame.tag, "give-up", reason="splits")
    assert answer.headers["Location"] == reverse("strip", args=[frame.tag])


def test_steps_are_added_and_dropped(desk: Client, shop: Shop, bea: User) -> None:
    frame = graded(shop, bea)
    job = opened(frame, bea)
    polish = Remedy.objects.get(key="polish-front")
    send(desk, "mend-act", frame.tag, "add", remedy=polish.pk, component="front")
    step = job.steps.get()
    send(desk, "mend-drop", frame.tag, step.pk)
    assert not job.steps.exists()


def test_another_part_can_be_named(desk: Client, shop: Shop, bea: User) -> None:
    frame = graded(shop, bea, POLISH)
    step = opened(frame, bea).steps.get()
    data: Told = {"minutes": "3", "other": shop.screw.pk, "other_pieces": "2"}
    data["scanned"] = "bin-screw-m14"
    send(desk, "mend-step", frame.tag, step.pk, **data)
    assert part_stock.held(shop.screw) == 98


@pytest.mark.parametrize(
    ("action", "data"),
    [
        ("check", {"key": "no-key"}),
        ("give-up", {"reason": ""}),
        ("weigh-out", {"scale": "999", "mass": "24"}),
        ("add", {"remedy": "x", "component": "elbow"}),
    ],
)
def test_bad_mending_input_is_shown_again(
    desk: Client, shop: Shop, bea: User, action: str, data: Told
) -> None:
    frame = graded(shop, bea, POLISH)
    opened(frame, bea)
    assert send(desk, "mend-act", frame.tag, action, **data).status_code == 422
    assert send(desk, "mend-act", frame.tag, "dance").status_code == 404


def test_step_with_too_many_parts_says_what_is_free(desk: Client, shop: Shop, bea: User) -> None:
    frame = graded(shop, bea, NEW_ARM)
    step = opened(frame, bea).steps.get()
    data: Told = {"minutes": "3", "part-arm-avocet": "7", "scanned": "arm-avocet"}
    answer = send(desk, "mend-step", frame.tag, step.pk, **data)
    assert answer.status_code == 422
    assert "Only 6 of Arm, Avocet are free" in answer.content.decode()


def test_mended_frame_is_posted_with_its_address(desk: Client, shop: Shop, bea: User) -> None:
    frame = mended(shop, bea)
    Person.objects.update(street="1 Mud Row", postal_code="12345", city="Saltmarsh")
    text = clean(page(desk, "post-frame", frame.tag))
    assert "1 Mud Row" in text
    label = desk.get(reverse("post-label", args=[frame.tag]))
    assert label.content.startswith(b"%PDF")
    assert frame.tag in clean(page(desk, "kits"))
    same = str(uuid.uuid4())
    for _click in range(2):
        answer = send(desk, "post-frame", frame.tag, key=same, scanned=frame.tag)
        assert answer.status_code == 302
    assert Dispatch.objects.count() == 1
    assert now(frame).state == "posted"


def test_frame_as_it_is_may_be_weighed_and_bad_masses_come_back(
    desk: Client, shop: Shop, bea: User
) -> None:
    frame = graded(shop, bea, state="to_return")
    data: Told = {"scale": shop.fine_scale.pk, "mass": "heavy", "scanned": frame.tag}
    assert send(desk, "post-frame", frame.tag, **data).status_code == 422
    data["mass"] = "24.800 g"
    assert send(desk, "post-frame", frame.tag, **data).status_code == 302


def test_erased_address_has_no_label(desk: Client, shop: Shop, bea: User) -> None:
    frame = mended(shop, bea)
    Person.objects.update(erased_at=NOON)
    assert desk.get(reverse("post-label", args=[frame.tag])).status_code == 404
    assert "No address is known" in page(desk, "post-frame", frame.tag)


def heaps(shop: Shop, **changes: object) -> Told:
    data: Told = {"scale": shop.fine_scale.pk, "plastic": "15.300", "lenses": "5.2 g"}
    kept = {"metal": "220 mg", "pieces-arm-avocet": "1", "salvaged-arm-avocet": "4.1 g"}
    return data | kept | changes


def test_frame_is_stripped_beside_what_the_bill_expects(
    desk: Client, shop: Shop, bea: User
) -> None:
    frame = graded(shop, bea, state="to_strip")
    rows = re.findall(
        r'row"><label for="id_(\w+)">.*?data-label="Expected">(.*?)</td>',
        page(desk, "strip", frame.tag),
        re.DOTALL,
    )
    # By hand, two standard deviations of front and arms: 2 * sqrt(120² + 2 * 60²), rounded down.
    assert {name: re.sub("<.*?>", " ", cell).strip() for name, cell in rows} == {
        "plastic": "19.40 g ± 0.292 g",
        "lenses": "5.20 g ± 0.112 g",
        "metal": "0.22 g ± 0.008 g",
        "foreign": "–",
    }
    answer = send(desk, "strip", frame.tag, **heaps(shop))
    assert answer.headers["Location"] == reverse("frame", args=[frame.tag])
    assert (held(PlaceKind.BOX), held(PlaceKind.SALVAGE)) == (15_300, 4_100)
    assert part_stock.held(shop.arm) == 7


def test_the_pages_of_a_frame_say_how_well_its_mass_is_known(
    desk: Client, shop: Shop, bea: User
) -> None:
    for state, name in (("to_mend", "mend"), ("to_return", "post-frame"), ("to_strip", "strip")):
        frame = graded(shop, bea, POLISH, state=state)
        spread = f"{uncertainty(readings.known(frame.reading).expanded_ug)} "
        assert spread in page(desk, name, frame.tag)
    send(desk, "strip", frame.tag, **heaps(shop))
    salvage = page(desk, "stock").partition("Waste and salvage")[2].partition("</section>")[0]
    assert salvage.count("plus or minus") == salvage.count('<th scope="row">') - salvage.count(
        "not weighed"
    )
    assert "plus or minus" in salvage


def test_gap_is_refused_beside_the_reason_and_keeps_what_was_typed(
    desk: Client, shop: Shop, bea: User
) -> None:
    frame = graded(shop, bea, state="to_strip")
    answer = send(desk, "strip", frame.tag, **heaps(shop, plastic="12.3 g"))
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "3.000 g are missing" in text
    assert 'value="12.3 g"' in text


def test_lenses_wanted_back_lead_to_the_post(desk: Client, shop: Shop, bea: User) -> None:
    frame = graded(shop, bea, state="to_strip", lenses_back=True)
    answer = send(desk, "strip", frame.tag, **heaps(shop))
    assert answer.headers["Location"] == reverse("post-frame", args=[frame.tag])
    assert "Lenses" in page(desk, "kits")
    assert send(desk, "post-lenses", frame.tag, scanned="F-7KDM-3XQ9").status_code == 422
    send(desk, "post-lenses", frame.tag, scanned=frame.tag)
    assert Dispatch.objects.get().kind == "lenses"
    assert send(desk, "post-lenses", frame.tag, scanned=frame.tag).status_code == 422


def test_stranger_can_only_be_discarded(desk: Client, shop: Shop, bea: User) -> None:
    frame = graded(shop, bea, state="to_strip")
    ReturnedFrame.objects.update(colourway=None, is_stranger=True)
    text = page(desk, "strip", frame.tag)
    assert "never enters a box" in clean(text)
    assert 'name="plastic"' not in text
    assert send(desk, "discard", frame.tag, reason="").status_code == 422
    send(desk, "discard", frame.tag, reason="acetate")
    assert now(frame).state == "discarded"


def test_addresses_of_all_that_is_to_be_posted_come_on_one_sheet(
    desk: Client, shop: Shop, bea: User
) -> None:
    sheet = reverse("address-sheet")
    assert desk.get(sheet).status_code == 404
    assert sheet not in page(desk, "kits")
    frame, unknown = mended(shop, bea), mended(shop, bea)
    Request.objects.filter(pk=unknown.request_id).update(person=None)
    asked = filed(shop.avocet_slate, kind="spare_screws", wish="", state="reserved")
    assert sheet in page(desk, "kits")
    (drawn,) = PdfReader(io.BytesIO(desk.get(sheet).content)).pages
    data = drawn.extract_text()
    assert frame.tag in data
    assert asked.reference in data
    assert unknown.tag not in data


def test_without_the_wish_the_page_asks_for_it(desk: Client, shop: Shop, bea: User) -> None:
    frame = graded(shop, bea, state="to_strip")
    ReturnedFrame.objects.update(wish="")
    assert "has not said that it may be ground" in page(desk, "strip", frame.tag)
    assert send(desk, "strip", frame.tag, **heaps(shop)).status_code == 422


@pytest.fixture
def kit(shop: Shop) -> Request:
    asked = filed(shop.avocet_slate, kind="spare_screws", wish="", state="reserved")
    assert kits.reserve(colourway=shop.avocet_slate, subject=asked.reference, at=NOON) == "reserved"
    return asked


def test_kit_is_packed_and_posted(desk: Client, shop: Shop, kit: Request) -> None:
    text = clean(page(desk, "kit", kit.reference))
    assert "Packing list" in text
    assert "Hinge screw M1.4" in text
    assert kit.reference in page(desk, "kits")
    assert desk.get(reverse("kit-label", args=[kit.reference])).content.startswith(b"%PDF")
    send(desk, "kit", kit.reference, action="post")
    assert part_stock.held(shop.screw) == 98
    assert "not to be posted now" in page(desk, "kit", kit.reference)
    assert send(desk, "kit", kit.reference, action="post").status_code == 422


@pytest.mark.parametrize(("action", "state"), [("repost", "reserved"), ("turned-up", "settled")])
def test_missing_kit_says_so_and_is_sent_again_or_turns_up(
    desk: Client, kit: Request, action: str, state: str
) -> None:
    send(desk, "kit", kit.reference, action="post")
    assert "Reported missing" not in page(desk, "kit", kit.reference)
    kit.refresh_from_db()
    intake.report_missing(key=key(), request=kit, at=NOON)
    assert "Reported missing" in page(desk, "kit", kit.reference)
    send(desk, "kit", kit.reference, action=action)
    kit.refresh_from_db()
    assert kit.state == state
    assert "Reported missing" not in page(desk, "kit", kit.reference)


def test_kit_with_too_few_pieces_waits_again(desk: Client, kit: Request) -> None:
    send(desk, "kit", kit.reference, action="put-back")
    assert Request.objects.get().state == "waiting_stock"
    assert "Waiting for parts" in page(desk, "kits")


@pytest.fixture
def box(shop: Shop, bea: User) -> Place:
    frame = graded(shop, bea, state="to_strip")
    parts = StripDown(scale=shop.fine_scale, plastic="19.400 g", lenses="5.200 g", metal="220 mg")
    made = stripdown.strip(key=key(), frame=frame, parts=parts, at=NOON, by=bea).box
    assert made is not None
    return made


def test_run_goes_from_the_proposal_to_the_lot(desk: Client, box: Place, ben: User) -> None:
    shop_scale = grinding.Scale.objects.get(name="Fine scale")
    assert "Slate" in clean(page(desk, "boxes"))
    send(desk, "box-propose", box.code)
    run = GrindRun.objects.get()
    assert "Somebody else must now confirm it" in clean(page(desk, "run", run.code))
    seen: Told = {"seen_mg": run.box_mg, "scanned": box.code}
    assert send(desk, "run-act", run.code, "confirm", **seen).status_code == 422
    desk.force_login(ben)
    text = clean(page(desk, "run", run.code))
    for word in ("lock it off", "block the rotor", "eye, face and ear", "19.40 g", "Slate"):
        assert word in text
    other = send(desk, "run-act", run.code, "confirm", **(seen | {"scanned": "bin-arm-avocet"}))
    refusal = other.content.decode()
    assert other.status_code == 422
    assert "Arm, Avocet" in refusal
    assert "Needed here: Box PP Slate, post-consumer return, which holds 19.400 g" in refusal
    assert send(desk, "run-act", run.code, "confirm", **seen).status_code == 302
    assert "Weigh out" in clean(page(desk, "run", run.code))
    out: Told = {"scale": shop_scale.pk, "flake": "12 g", "minutes": "15"}
    assert send(desk, "run-act", run.code, "finish", **out).status_code == 302
    assert "Explain it" in clean(page(desk, "run", run.code))
    assert not Lot.objects.exists()
    send(desk, "run-act", run.code, "explain", explanation="chamber not emptied")
    run.refresh_from_db()
    assert run.state == "finished"
    assert Lot.objects.get().code in clean(page(desk, "run", run.code))
    assert ReturnedFrame.objects.get().state == "ground"


@pytest.mark.parametrize(
    ("action", "data"),
    [
        ("confirm", {"seen_mg": "1", "scanned": "box-pp-slate-post_consumer_return"}),
        ("confirm", {"seen_mg": "19400"}),
        ("finish", {"flake": "", "minutes": "5"}),
        ("explain", {"explanation": ""}),
    ],
)
def test_bad_run_input_is_shown_again(
    desk: Client, box: Place, ben: User, action: str, data: Told
) -> None:
    run = grinding.propose(key=key(), box=box, at=NOON, by=ben)
    assert send(desk, "run-act", run.code, action, **data).status_code == 422


def test_run_can_be_cancelled_but_not_melted(desk: Client, box: Place, ben: User) -> None:
    run = grinding.propose(key=key(), box=box, at=NOON, by=ben)
    assert send(desk, "run-act", run.code, "melt").status_code == 404
    assert send(desk, "run-act", run.code, "cancel").status_code == 302


@pytest.mark.parametrize("is_confirmed", [False, True])
def test_a_cancelled_run_shows_the_steps_that_were_done(
    desk: Client, box: Place, bea: User, ben: User, is_confirmed: bool
) -> None:
    run = grinding.propose(key=key(), box=box, at=NOON, by=ben)
    if is_confirmed:
        grinding.confirm(
            key=key(), run=run, seen_mg=run.box_mg, scanned=run.box.code, at=NOON, by=bea
        )
    grinding.cancel(key=key(), run=run, at=NOON, by=ben)
    shown = re.findall(r'step-(done|current|ahead)"[^>]*><span>(\w+)', page(desk, "run", run.code))
    confirmed = [("done", "Confirmed")] if is_confirmed else []
    assert shown == [("done", "Proposed"), *confirmed, ("current", "Cancelled")]


def test_box_with_an_open_run_cannot_be_proposed_again(desk: Client, box: Place, ben: User) -> None:
    grinding.propose(key=key(), box=box, at=NOON, by=ben)
    answer = send(desk, "box-propose", box.code)
    assert answer.status_code == 422
    assert "is open for this box" in answer.content.decode()


def told_material(shop: Shop, **changes: object) -> Told:
    data: Told = {"polymer": shop.pp.pk, "colour": shop.slate.pk, "passes": "1"}
    data |= {"scale": shop.box_scale.pk, "mass": "5 kg", "note": "pots", "cost": "7.50"}
    return data | {"origin": "post_consumer_feedstock", "into": "box"} | changes


def lot(shop: Shop, by: User) -> Lot:
    pots = material.Material(
        polymer=shop.pp,
        colour=shop.slate,
        origin="post_consumer_feedstock",
        heat=heat.of_passes(1),
    )
    weighing = material.Weighing(scale=shop.box_scale, mass="5 kg")
    return material.receive_as_lot(key=key(), material=pots, weighing=weighing, at=NOON, by=by)


@pytest.mark.parametrize("action", ["feedstock", "opening"])
@pytest.mark.parametrize(("into", "kind"), [("box", PlaceKind.BOX), ("lot", PlaceKind.LOT)])
def test_material_comes_in(
    desk: Client, shop: Shop, action: str, into: str, kind: PlaceKind
) -> None:
    answer = send(desk, "stock-action", action, **told_material(shop, into=into))
    assert answer.headers["Location"] == reverse("stock")
    assert held(kind) == 5_000_000
    assert Movement.objects.latest("number").cost_minor == 750
    clean(page(desk, "stock"))


def issue(shop: Shop, of: Lot) -> Told:
    return {"batch_code": "AV-2610", "scale": shop.box_scale.pk, f"lot-{of.pk}": "2 kg"} | {
        "scanned": of.code
    }


def test_flake_is_issued_moulded_and_its_scrap_returned(
    desk: Client, shop: Shop, bea: User
) -> None:
    flake = lot(shop, bea)
    assert flake.code in clean(page(desk, "stock-action", "issue"))
    send(desk, "stock-action", "issue", **issue(shop, flake))
    data: Told = {"code": "AV-2610", "colourway": shop.avocet_slate.pk, "made_on": "2026-10-14"}
    assert send(desk, "stock-action", "mould", **data, pieces="80").status_code == 302
    batch = ProductionBatch.objects.get(code="AV-2610")
    assert batch.heat == [[2, 1_000_000]]
    scrap: Told = {"batch": batch.pk, "scale": shop.box_scale.pk, "mass": "200 g"}
    assert send(desk, "stock-action", "scrap", **scrap).status_code == 302
    assert Place.objects.get(kind="box").origin == "in_process"
    assert Movement.objects.latest("number").heat == [[2, 1_000_000]]


def test_material_is_counted(desk: Client, shop: Shop, bea: User) -> None:
    place = places.of_lot(lot(shop, bea))
    data: Told = {"place": place.pk, "scale": shop.box_scale.pk, "reason": "month end"}
    for mass in ("5 kg", "4990 g"):
        assert send(desk, "stock-action", "count", **data, mass=mass).status_code == 302
    assert held(PlaceKind.LOT) == 4_990_000


def test_places_to_count_are_told_as_people_call_them(
    desk: Client, shop: Shop, bea: User, box: Place
) -> None:
    found = lot(shop, bea)
    shown = page(desk, "stock-action", "count")
    assert f">Lot {found.code}<" in shown
    assert f">Box {box.polymer} {box.colour}, " in shown
    assert "lot-l-" not in shown


def test_waste_is_taken_away(desk: Client, shop: Shop, box: Place) -> None:
    assert "taken away" in page(desk, "stock")
    assert ">lens waste<" in page(desk, "stock-action", "dispose")
    answer = send(desk, "stock-action", "dispose", place="lens", reason="glass bank")
    assert answer.status_code == 302
    assert held(PlaceKind.LENS) == 0
    again = send(desk, "stock-action", "dispose", place="lens", reason="glass bank")
    assert again.status_code == 422


@pytest.mark.parametrize(("days", "is_listed"), [(44, True), (46, False)])
def test_a_frame_that_its_owner_misses_is_listed_where_things_are_posted(
    desk: Client, shop: Shop, bea: User, days: int, is_listed: bool
) -> None:
    frame = graded(shop, bea, state="posted")
    data = timezone.now() - timedelta(days=days)
    facts = {"kind": "mended", "frame": frame, "posted_at": NOON, "missing_reported_at": data}
    Dispatch.objects.create(code="D-1", key=key(), **facts)
    assert (frame.tag in page(desk, "kits")) == is_listed


def test_parts_come_in_and_set_waiting_kits_aside(desk: Client, shop: Shop) -> None:
    stock.count(key=key(), part=shop.screw, counted=0, reason="lost", at=NOON)
    asked = filed(shop.avocet_slate, kind="spare_screws", wish="", state="waiting_stock")
    assert "To order" in page(desk, "stock")
    data: Told = {"part": "screw-m14", "pieces": "50"}
    assert send(desk, "stock-action", "parts-receive", **data, cost="6,000").status_code == 422
    for typed in ("6.00", "6,00", "6"):
        assert send(desk, "stock-action", "parts-receive", **data, cost=typed).status_code == 302
        assert Movement.objects.latest("number").cost_minor == 600
    asked.refresh_from_db()
    assert asked.state == "reserved"


@pytest.mark.parametrize(("counted", "status"), [("98", 302), ("0", 302), ("-1", 422)])
def test_parts_are_counted(desk: Client, shop: Shop, counted: str, status: int) -> None:
    data: Told = {"part": "screw-m14", "counted": counted, "reason": "month end"}
    assert send(desk, "stock-action", "parts-count", **data).status_code == status


@pytest.mark.parametrize(
    "action",
    ["feedstock", "scrap", "issue", "mould", "count", "opening", "dispose", "parts-receive"],
)
def test_empty_forms_come_back_with_what_to_do(desk: Client, shop: Shop, action: str) -> None:
    clean(page(desk, "stock-action", action))
    answer = send(desk, "stock-action", action)
    assert answer.status_code == 422
    clean(answer.content.decode())


def test_accountant_sees_stock_but_moves_nothing(client: Client, shop: Shop, acke: User) -> None:
    client.force_login(acke)
    assert client.get(reverse("stock")).status_code == 200
    assert send(client, "stock-action", "count").status_code == 403


def test_stock_page_asks_a_bounded_number_of_questions(
    desk: Client, shop: Shop, django_assert_max_num_queries: Callable[..., Any]
) -> None:
    makers.opening(1_000_000, shop)
    # Session, user, role, workshop, and four questions per part and box.
    with django_assert_max_num_queries(45):
        desk.get(reverse("stock"))


def test_next_frame_starts_with_the_scale_that_this_person_used_last(
    desk: Client, client: Client, shop: Shop, bea: User, ben: User
) -> None:
    """While signed in, at the next sign-in, and never another person's."""
    chosen = f'<option value="{shop.fine_scale.pk}" selected'
    first, second = (graded(shop, bea, state="to_strip") for _ in range(2))
    client.force_login(ben)
    assert chosen not in page(client, "strip", first.tag)
    send(client, "strip", first.tag, **heaps(shop))
    assert chosen in page(client, "strip", second.tag)
    client.logout()
    client.force_login(ben)
    assert chosen in page(client, "strip", second.tag)


def test_weighing_forms_start_with_that_scale_too(desk: Client, shop: Shop, bea: User) -> None:
    chosen = f'<option value="{shop.fine_scale.pk}" selected'
    graded(shop, bea, state="to_strip")
    waiting = graded(shop, bea, state="to_return")
    assert chosen in page(desk, "post-frame", waiting.tag)
    for action in ("feedstock", "scrap", "count", "opening"):
        assert chosen in page(desk, "stock-action", action)


def test_page_advises_after_a_failed_check_until_something_was_done(
    desk: Client, shop: Shop, bea: User
) -> None:
    frame = graded(shop, bea, NEW_ARM)
    job = opened(frame, bea)
    Finding.objects.create(grading=job.grading, component="arm_left", defect="snapped")
    do(job, bea)
    assert "The sums advise" not in page(desk, "mend", frame.tag)
    data = HOLDS | {"closes_freely": "no", "blamed": str(job.steps.get().pk)}
    send(desk, "mend-act", frame.tag, "check", **data)
    text = clean(page(desk, "mend", frame.tag))
    name = Remedy.objects.get(key="new-arm").name
    assert f"The sums advise: {name}, left arm" in text
    assert "19.90 EUR" in text
    do(job, bea)
    assert "The sums advise" not in page(desk, "mend", frame.tag)

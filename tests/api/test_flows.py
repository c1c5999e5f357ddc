"""Whole stories through the API alone, as a machine at the bench or a partner's site sends them."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from PIL import Image

from inventory.models import Balance, Movement, RequestKey
from returns.models import Remedy, Request
from tests.api.callers import Caller, machine, pointers, refused
from tests.makers import NOON, Shop, opening
from tests.returns import owner_makers as owner_made

FILING = {
    "colourway": "avocet/slate",
    "component": "arm_left",
    "defect": "snapped",
    "note": "It fell off the table.",
    "notice": "1",
    "name": "Wanda Reed",
    "email": "wanda@example.org",
    "street": "7 Towpath",
    "postal_code": "12345",
    "city": "Saltmarsh",
    "country": "DE",
}
SEND_BACK = FILING | {"wish": "regrind", "lenses_back": False}
SCREWS = FILING | {"component": "screw_left", "defect": "missing"}


def done(response: Any, status: int = 200) -> Any:
    assert response.status_code == status, response.content
    return response.json()


@pytest.fixture
def filed(shop: Shop) -> dict[str, Any]:
    answer: dict[str, Any] = done(Caller().post("send-backs/", SEND_BACK), 201)
    return answer


def weighed(caller: Caller, filed: dict[str, Any], **changes: Any) -> str:
    parcel = done(caller.post("parcels/", {"request": filed["reference"]}), 201)
    body = {
        "scale": "Fine scale",
        "mass": "24,820",
        "cleaned": True,
        "colourway": "avocet/slate",
    }
    frame = done(caller.post(f"parcels/{parcel['code']}/frames/", body | changes), 201)
    done(caller.post(f"parcels/{parcel['code']}/endings/"))
    return str(frame["tag"])


def test_anybody_reads_the_catalogue_and_no_prices_of_ours_in_it(shop: Shop) -> None:
    found = done(Caller().get("models/"))["results"]
    assert [model["code"] for model in found] == ["avocet"]
    assert {one["code"] for one in found[0]["colourways"]} == {"avocet/slate", "avocet/moss"}
    assert found[0]["has_kit"] is True
    assert "cost" not in str(found)
    assert done(Caller().get("models/avocet/")) == found[0]


@pytest.mark.parametrize("path", ["send-backs/", "spare-screws/"])
@pytest.mark.django_db
def test_nothing_is_filed_before_the_workshop_is_set_up(path: str) -> None:
    body = SCREWS if path == "spare-screws/" else SEND_BACK
    data = refused(Caller().post(path, body), 409, "not-open-yet")
    assert "still being set up" in data["detail"]
    assert not Request.objects.exists()
    assert not RequestKey.objects.exists()


def test_filing_is_refused_until_the_last_needed_step_is_done(shop: Shop) -> None:
    Remedy.objects.update(active=False)
    refused(Caller().post("send-backs/", SEND_BACK), 409, "not-open-yet")
    Remedy.objects.update(active=True)
    done(Caller().post("send-backs/", SEND_BACK), 201)
    Remedy.objects.update(active=False)
    done(Caller().post("send-backs/", SEND_BACK), 201)


def test_filing_tells_the_secret_and_stores_it_nowhere(shop: Shop) -> None:
    first = done(Caller().post("send-backs/", SEND_BACK, key="filing-key-1"), 201)
    kept = RequestKey.objects.get()
    assert first["secret"] not in str(kept.body)
    assert "Towpath" not in f"{kept.body}{kept.fingerprint}"
    again = Caller().post("send-backs/", SEND_BACK, key="filing-key-1")
    assert done(again, 201) == first
    assert Request.objects.count() == 1


def test_the_story_opens_with_its_secret_only(filed: dict[str, Any]) -> None:
    data = done(Caller().get("story/", **{"Story-Secret": filed["secret"]}))
    assert data["reference"] == filed["reference"]
    assert data["may_withdraw"] is True
    assert data["turns"]
    for secret in ("", "wrong", filed["secret"] + "x", "x" * 5000):
        refused(Caller().get("story/", **{"Story-Secret": secret}), 404, "not-found")
    refused(Caller().get(f"story/?secret={filed['secret']}"), 404, "not-found")


def test_the_holder_of_the_link_changes_the_address_and_withdraws(filed: dict[str, Any]) -> None:
    secret = {"Story-Secret": filed["secret"]}
    place = {name: FILING[name] for name in ("name", "street", "postal_code", "city", "country")}
    done(Caller().post("story/addresses/", place | {"street": "9 Towpath"}, **secret))
    assert Request.objects.get().person.street == "9 Towpath"  # type: ignore[union-attr]
    body = refused(
        Caller().post("story/addresses/", place | {"postal_code": "1"}, **secret), 400, "bad-input"
    )
    assert pointers(body) == {"#/postal_code"}
    data = done(Caller().post("story/withdrawals/", **secret))
    assert data["state"] == "withdrawn"
    refused(Caller().post("story/withdrawals/", **secret), 409, "stale-state")


def test_the_holder_of_the_link_says_posted_wakes_and_corrects_the_email(
    filed: dict[str, Any],
) -> None:
    secret = {"Story-Secret": filed["secret"]}
    said = done(Caller().post("story/posted-reports/", {"number": "AB 12"}, **secret))
    assert (said["carrier_number"], said["may_say_posted"]) == ("AB 12", True)
    assert said["sent_at"]
    body = refused(
        Caller().post("story/posted-reports/", {"number": "<b>"}, **secret), 400, "bad-input"
    )
    assert pointers(body) == {"#/number"}
    refused(Caller().post("story/wakings/", **secret), 409, "stale-state")
    Request.objects.update(state="resting", ended_at=NOON)
    refused(Caller().post("story/posted-reports/", {"number": ""}, **secret), 409, "stale-state")
    woken = done(Caller().post("story/wakings/", **secret))
    assert (woken["state"], woken["carrier_number"]) == ("awaited", "")
    done(Caller().post("story/emails/", {"email": "reed@example.org"}, **secret))
    assert Request.objects.get().person.email == "reed@example.org"  # type: ignore[union-attr]
    body = refused(Caller().post("story/emails/", {"email": "reed"}, **secret), 400, "bad-input")
    assert pointers(body) == {"#/email"}


def test_emails_are_corrected_five_times_an_hour(filed: dict[str, Any]) -> None:
    secret = {"Story-Secret": filed["secret"]}
    for number in range(5):
        done(Caller().post("story/emails/", {"email": f"reed{number}@example.org"}, **secret))
    sixth = Caller().post("story/emails/", {"email": "reed6@example.org"}, **secret)
    refused(sixth, 429, "too-many-requests")


def test_further_troubles_are_filed_and_read(shop: Shop, bea: User) -> None:
    more = [{"component": "front", "defect": "scuffed"}]
    filed = done(Caller().post("send-backs/", SEND_BACK | {"troubles": more}), 201)
    bench = machine(bea, "bench", "read")
    assert done(bench.get(f"requests/{filed['reference']}/"))["troubles"] == more
    three = SEND_BACK | {"troubles": more * 3}
    refused(Caller().post("send-backs/", three), 400, "bad-input")
    twice = SEND_BACK | {"troubles": [{"component": "arm_left", "defect": "snapped"}]}
    refused(Caller().post("send-backs/", twice), 400, "bad-input")


def test_one_key_under_two_links_is_two_requests(shop: Shop) -> None:
    secrets = [done(Caller().post("send-backs/", SEND_BACK), 201)["secret"] for _frame in range(2)]
    data = [
        done(Caller().post("story/withdrawals/", key="same-key", **{"Story-Secret": secret}))
        for secret in secrets
    ]
    assert data[0]["reference"] != data[1]["reference"]
    assert Request.objects.filter(state="withdrawn").count() == 2


def test_a_photo_travels_as_form_data_and_a_text_that_calls_itself_one_is_refused(
    shop: Shop,
) -> None:
    picture = io.BytesIO()
    Image.new("RGB", (40, 30), "grey").save(picture, "JPEG")
    for content, status in ((picture.getvalue(), 201), (b"no picture", 400)):
        upload = io.BytesIO(content)
        upload.name = "a.jpg"
        response = Client().post(
            "/api/send-backs/",
            SEND_BACK | {"photos": upload},
            headers={"Idempotency-Key": f"with-photo-{status}"},
        )
        assert response.status_code == status, response.content
    assert Request.objects.get().photos.count() == 1


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"colourway": "avocet"}, "#/colourway"),
        ({"colourway": "avocet/pink"}, "#/colourway"),
        ({"component": "knee"}, "#/component"),
        ({"defect": "bored"}, "#/defect"),
        ({"notice": "0"}, "#/notice"),
        ({"email": "wanda"}, "#/email"),
        ({"country": "D1"}, "#/country"),
        ({"wish": "sell it"}, "#/wish"),
        ({"name": "Wanda\nBcc: all"}, "#/name"),
        ({"note": "x" * 501}, "#/note"),
        ({"language": "tlh"}, "#/language"),
        ({"postcode": "12345"}, "#/postcode"),
    ],
)
def test_a_slip_in_a_filing_points_at_its_field(
    shop: Shop, change: dict[str, str], pointer: str
) -> None:
    body = refused(Caller().post("send-backs/", SEND_BACK | change), 400, "bad-input")
    assert pointers(body) == {pointer}
    assert not Request.objects.exists()


def test_filing_is_throttled_and_says_how_long_to_wait(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    from rest_framework.throttling import ScopedRateThrottle

    monkeypatch.setattr(ScopedRateThrottle, "THROTTLE_RATES", {"file": "2/hour"})
    for _once in range(2):
        done(Caller().post("send-backs/", SEND_BACK), 201)
    response = Caller().post("send-backs/", SEND_BACK)
    refused(response, 429, "too-many-requests")
    assert int(response.headers["Retry-After"]) > 0


def test_a_kit_is_asked_for_posted_and_turns_up(shop: Shop, bea: User) -> None:
    asked = done(Caller().post("spare-screws/", SCREWS), 201)
    assert asked["state"] == "reserved"
    bench = machine(bea, "bench", "read")
    waiting = done(bench.get("kits/"))["results"]
    assert [kit["reference"] for kit in waiting] == [asked["reference"]]
    assert waiting[0]["parts"] == [{"part": "screw-m14", "pieces": 2}]
    assert "7 Towpath" in waiting[0]["address"]
    sent = done(bench.post(f"kits/{asked['reference']}/dispatches/"), 201)
    assert sent["kind"] == "kit"
    secret = {"Story-Secret": asked["secret"]}
    done(Caller().post("story/missing-reports/", **secret))
    data = done(bench.post(f"kits/{asked['reference']}/arrivals/"))
    assert data["state"] == "settled"


def version(bench: Caller, tag: str) -> dict[str, int]:
    return {"version": done(bench.get(f"frames/{tag}/"))["version"]}


def test_slower_of_two_callers_is_refused_and_reads_the_newer(
    filed: dict[str, Any], shop: Shop, bea: User
) -> None:
    bench = machine(bea, "bench", "read")
    tag = weighed(bench, filed)
    look = {"findings": [{"component": "arm_left", "defect": "snapped"}], "polymer": "ours"}
    old = version(bench, tag)
    refused(bench.post(f"frames/{tag}/gradings/", look), 400, "bad-input")
    done(bench.post(f"frames/{tag}/gradings/", look | old), 201)
    problem = refused(bench.post(f"frames/{tag}/gradings/", look | old), 409, "stale-state")
    assert "Somebody has worked on this frame" in problem["detail"]
    assert problem["version"] == version(bench, tag)["version"]
    wish = {"wish": "post_back", "evidence": "phone"}
    refused(bench.post(f"frames/{tag}/wishes/", wish), 400, "bad-input")
    refused(bench.post(f"frames/{tag}/wishes/", wish | old), 409, "stale-state")
    overruling = {"outcome": "hold", "reason": "let Ben see it"}
    refused(bench.post(f"frames/{tag}/overrulings/", overruling | old), 409, "stale-state")
    newer = version(bench, tag)
    assert newer["version"] > old["version"]
    done(bench.post(f"frames/{tag}/overrulings/", overruling | newer), 201)
    assert len(done(bench.get(f"frames/{tag}/"))["gradings"]) == 2


def test_a_frame_is_weighed_in_graded_mended_and_posted(
    filed: dict[str, Any], shop: Shop, bea: User
) -> None:
    bench = machine(bea, "bench", "read")
    tag = weighed(bench, filed)
    look = {"findings": [{"component": "arm_left", "defect": "snapped"}], "polymer": "ours"}
    grading = done(bench.post(f"frames/{tag}/gradings/", look | version(bench, tag)), 201)
    assert grading["decided"] == "repair"
    job = done(bench.post(f"frames/{tag}/jobs/"), 201)
    step = {"remedy": job["steps"][0]["remedy"], "component": "arm_left"}
    used = step | {"minutes": 8, "parts": [{"part": "arm-avocet", "pieces": 1}]}
    wrong = used | {"scanned": ["bin-screw-m14"]}
    refused(bench.post(f"frames/{tag}/job/steps/", wrong), 409, "wrong-scan")
    used |= {"scanned": ["bin-arm-avocet"]}
    done(bench.post(f"frames/{tag}/job/steps/", used), 201)
    check = {"closes_freely": True, "screw_flush": True, "lens_held": True, "no_sharp_edge": True}
    refused(bench.post(f"frames/{tag}/job/checks/", check), 400, "bad-input")
    refused(bench.post(f"frames/{tag}/job/checks/", check | {"version": 1}), 409, "stale-state")
    check |= version(bench, tag)
    assert done(bench.post(f"frames/{tag}/job/checks/", check), 201)["passed"] is True
    out = {"scale": "Fine scale", "mass": "24,820"}
    assert done(bench.post(f"frames/{tag}/job/weigh-outs/", out))["state"] == "mended"
    post = f"frames/{tag}/dispatches/"
    refused(bench.post(post), 400, "bad-input")
    refused(bench.post(post, {"scanned": filed["reference"]}), 409, "wrong-scan")
    assert done(bench.post(post, {"scanned": tag}), 201)["kind"] == "mended"
    frame = done(bench.get(f"frames/{tag}/"))
    assert frame["state"] == "posted"
    assert frame["whereabouts"] == []
    assert frame["mass_mg"] == 24_820
    assert frame["weighed_at"].endswith("Z")
    moved = done(bench.get(f"movements/?subject={tag}"))["results"]
    assert {one["number"] for one in moved} == set(frame["movements"])
    first = next(line for one in moved for line in one["postings"] if one["kind"] == "weigh_in")
    assert first["known"] == frame["reading"]["known"]
    assert first["known"]["expanded_ug"] > 0
    counted = [line for one in moved for line in one["postings"] if line["mass_mg"] is None]
    assert all(line["known"] is None for line in counted)
    assert done(bench.get(f"requests/{filed['reference']}/"))["state"] == "settled"


def test_a_failed_check_names_its_step_and_both_are_withdrawn(
    filed: dict[str, Any], shop: Shop, bea: User
) -> None:
    bench = machine(bea, "bench", "read")
    tag = weighed(bench, filed)
    look = {"findings": [{"component": "arm_left", "defect": "snapped"}], "polymer": "ours"}
    done(bench.post(f"frames/{tag}/gradings/", look | version(bench, tag)), 201)
    job = done(bench.post(f"frames/{tag}/jobs/"), 201)
    step = {"remedy": job["steps"][0]["remedy"], "component": "arm_left"}
    used = step | {"minutes": 8, "parts": [{"part": "arm-avocet", "pieces": 1}]}
    used |= {"scanned": ["bin-arm-avocet"]}
    done(bench.post(f"frames/{tag}/job/steps/", used), 201)
    fails = {"closes_freely": False, "screw_flush": True, "lens_held": True, "no_sharp_edge": True}
    checks, why = f"frames/{tag}/job/checks/", {"reason": "wrong frame in hand"}
    fails |= version(bench, tag)
    refused(bench.post(checks, fails), 400, "bad-input")
    check = done(bench.post(checks, fails | {"failed_step": step}), 201)
    fails |= version(bench, tag)
    assert (check["passed"], check["failed_step"]) == (False, step)
    refused(bench.post(checks, fails | {"nobody_can_tell": True}), 400, "bad-input")
    undo = f"frames/{tag}/job/step-withdrawals/"
    refused(bench.post(undo, step | why), 409, "stale-state")
    done(bench.post(f"frames/{tag}/job/check-withdrawals/", why), 201)
    gone = done(bench.post(undo, step | why), 201)
    assert gone["withdrawn_at"].endswith("Z")
    steps = done(bench.get(f"frames/{tag}/"))["jobs"][0]["steps"]
    assert [one["done_at"] is None for one in steps] == [False, True]


def test_a_strip_down_is_undone_with_a_reason_until_its_box_is_touched(
    filed: dict[str, Any], shop: Shop, bea: User
) -> None:
    bench = machine(bea, "bench", "read")
    tag = weighed(bench, filed)
    undo = f"frames/{tag}/strip-down-reversals/"
    why = {"reason": "wrong frame on the tray"}
    refused(bench.post(undo, why), 409, "stale-state")
    look = {"findings": [{"component": "front", "defect": "snapped"}], "polymer": "ours"}
    done(bench.post(f"frames/{tag}/gradings/", look | version(bench, tag)), 201)
    parts = {"scale": "Fine scale", "plastic": "19,400", "lenses": "5,200", "metal": "0,220"}
    done(bench.post(f"frames/{tag}/strip-downs/", parts))
    refused(bench.post(undo, {"reason": ""}), 400, "bad-input")
    assert done(bench.post(undo, why))["state"] == "to_strip"
    assert done(bench.get("boxes/"))["results"][0]["mass_mg"] == 0
    refused(bench.post(undo, why), 409, "stale-state")


def test_a_frame_is_stripped_and_ground_by_two_people_into_a_lot(
    filed: dict[str, Any], shop: Shop, bea: User, ben: User
) -> None:
    bench, second = machine(bea, "bench", "read"), machine(ben, "bench")
    opening(500_000, shop)
    tag = weighed(bench, filed)
    look = {"findings": [{"component": "front", "defect": "snapped"}], "polymer": "ours"}
    grading = done(bench.post(f"frames/{tag}/gradings/", look | version(bench, tag)), 201)
    assert grading["decided"] == "regrind"
    parts = {"scale": "Fine scale", "plastic": "19,400", "lenses": "5,200", "metal": "0,220"}
    assert done(bench.post(f"frames/{tag}/strip-downs/", parts))["state"] == "boxed"
    box = done(bench.get("boxes/"))["results"][0]
    assert box["mass_mg"] == 519_400
    run = done(bench.post("runs/", {"box": box["code"]}), 201)
    seen = {"seen_mg": run["box_mg"], "scanned": box["code"]}
    refused(bench.post(f"runs/{run['code']}/confirmations/", seen), 403, "second-person-needed")
    confirm = f"runs/{run['code']}/confirmations/"
    refused(second.post(confirm, seen | {"seen_mg": 1}), 409, "box-changed")
    refused(second.post(confirm, seen | {"scanned": tag}), 409, "wrong-scan")
    refused(second.post(confirm, {"seen_mg": run["box_mg"]}), 400, "bad-input")
    done(second.post(f"runs/{run['code']}/confirmations/", seen))
    out = {"scale": "Box scale", "flake": "400 g", "minutes": 12}
    assert done(bench.post(f"runs/{run['code']}/weigh-outs/", out))["state"] == "held"
    why = {"explanation": "The sieve was torn; the rest went to waste."}
    finished = done(bench.post(f"runs/{run['code']}/explanations/", why))
    assert finished["state"] == "finished"
    lot = done(bench.get(f"lots/{finished['lot']}/"))
    assert (lot["mass_mg"], lot["run"]) == (400_000, run["code"])
    frame = done(bench.get(f"frames/{tag}/"))
    assert (frame["state"], frame["lot"]) == ("ground", lot["code"])


def test_material_comes_in_is_issued_moulded_counted_and_reversed(
    shop: Shop, bea: User, acke: User
) -> None:
    bench, accounts = machine(bea, "bench", "read"), machine(acke, "accounts", "read")
    bought = {
        "polymer": "PP",
        "colour": "slate",
        "origin": "post_consumer_feedstock",
        "into": "lot",
        "heat_passes": 1,
        "cost_minor": 1250,
        "scale": "Box scale",
        "mass": "5 kg",
    }
    lot = done(bench.post("feedstock/", bought), 201)["lot"]
    assert lot["mass_mg"] == 5_000_000
    issue = {
        "batch_code": "AV-2610",
        "scale": "Box scale",
        "lots": [{"lot": lot["code"], "mass": "2 kg"}],
        "scanned": [lot["code"]],
    }
    moved = done(bench.post("issues/", issue), 201)
    batch = {"code": "AV-2610", "colourway": "avocet/slate", "made_on": "2026-10-02", "pieces": 90}
    made = done(bench.post("batches/", batch), 201)
    assert made["heat"] == [{"passes": 2, "ppm": 1_000_000}]
    assert made["issued_mg"] == 2_000_000
    counted = {"scale": "Box scale", "mass": "2 kg", "reason": "Spilt a bag."}
    place = f"lot-{lot['code']}".lower()
    short = done(bench.post(f"places/{place}/counts/", counted), 201)["movement"]
    assert short["postings"][0]["mass_mg"] == 1_000_000
    assert short["postings"][0]["pieces"] is None
    assert done(bench.post(f"places/{place}/counts/", counted), 201)["movement"] is None
    refused(
        bench.post(f"movements/{moved['number']}/reversals/", {"reason": "x"}), 403, "forbidden"
    )
    back = done(
        accounts.post(f"movements/{short['number']}/reversals/", {"reason": "Found the bag."}), 201
    )
    assert back["reverses"] == short["number"]
    again = accounts.post(f"movements/{short['number']}/reversals/", {"reason": "Twice."})
    refused(again, 409, "already-reversed")
    held = done(bench.get("balances/?kind=lot"))["results"]
    assert [one["mass_mg"] for one in held if one["lot"] == lot["code"]] == [3_000_000]


def test_a_movement_of_a_story_is_not_reversed_alone(
    filed: dict[str, Any], shop: Shop, bea: User, acke: User
) -> None:
    weighed(machine(bea, "bench"), filed)
    number = Movement.objects.get(kind="weigh_in").number
    before = list(Balance.objects.values_list("place", "quantity").order_by("place"))
    refused(
        machine(acke, "accounts").post(f"movements/{number}/reversals/", {"reason": "Oops."}),
        409,
        "conflict",
    )
    assert list(Balance.objects.values_list("place", "quantity").order_by("place")) == before


def test_parts_are_received_and_counted_and_those_who_wait_are_served(
    shop: Shop, bea: User
) -> None:
    bench = machine(bea, "bench", "read")
    done(bench.post("parts/screw-m14/counts/", {"counted": 0, "reason": "All gone."}), 201)
    asked = done(Caller().post("spare-screws/", SCREWS), 201)
    assert asked["state"] == "waiting_stock"
    done(bench.post("parts/screw-m14/receipts/", {"pieces": 50, "cost_minor": 600}), 201)
    assert done(bench.get("kits/?state=reserved"))["results"][0]["reference"] == asked["reference"]
    part = done(bench.get("parts/screw-m14/"))
    assert (part["pieces_held"], part["pieces_available"]) == (50, 48)
    same = done(bench.post("parts/screw-m14/counts/", {"counted": 50, "reason": "Check."}), 201)
    assert same == {"movement": None, "promised_short": 0}


def test_months_are_listed_reported_and_closed_in_order(shop: Shop, acke: User) -> None:
    accounts = machine(acke, "accounts", "read")
    listed = done(accounts.get("months/"))["results"]
    first = listed[-1]["label"]
    report = done(accounts.get(f"months/{first}/report/"))
    closed = done(accounts.post(f"months/{first}/closings/", key="close-first"))
    assert done(accounts.post(f"months/{first}/closings/", key="close-first")) == closed
    refused(accounts.post(f"months/{first}/closings/"), 409, "month-closed")
    assert done(accounts.get(f"months/{first}/report/"))["digest"] == report["digest"]
    assert done(accounts.get(f"months/{first}/"))["closed"] == closed
    refused(accounts.post(f"months/{listed[0]['label']}/closings/"), 409, "month-not-ready")


def test_sold_units_are_tried_then_imported(shop: Shop, olga: User) -> None:
    owner = machine(olga, "owner", "read")
    rows = [{"batch": "AV-2601", "month": "2026-02", "pieces": 30}]
    bad = [*rows, {"batch": "none", "month": "2026-02", "pieces": 1}]
    tried = done(owner.post("sold-units/trials/", {"rows": bad}))
    assert (tried["accepted"], [one["row"] for one in tried["refused"]]) == (1, [2])
    refused(owner.post("sold-units/imports/", {"rows": bad}), 400, "bad-input")
    assert done(owner.post("sold-units/imports/", {"rows": rows}), 201)["after"] == 30
    more = [rows[0] | {"pieces": 31}]
    body = refused(owner.post("sold-units/imports/", {"rows": more}), 400, "bad-input")
    assert pointers(body) == {"#/replace"}
    done(owner.post("sold-units/imports/", {"rows": more, "replace": "confirmed"}), 201)


def test_circularity_is_told_of_everything_a_model_and_a_batch(shop: Shop, olga: User) -> None:
    owner = machine(olga, "read")
    span = "?from=2026-01&to=2026-11"
    whole = done(owner.get(f"circularity/{span}"))
    assert (whole["first_month"], whole["last_month"]) == ("2026-01", "2026-11")
    assert whole["take_back"]["share"] is None
    assert whole["recycled_content"]["missing"]["of"] == "issues to moulding"
    assert whole["indicators"]["material_circularity"]["missing"]["of"] == "models"
    assert set(whole["indicators"]) == {
        "material_circularity",
        "inflow",
        "outflow",
        "mean_lives",
    }
    nothing = {"mass_mg": 0, "expanded_mg": 0.0, "readings": 0, "unweighed_mg": 0}
    assert whole["weighed"] == dict.fromkeys(("salvaged", "ground", "flake"), nothing)
    assert set(whole["content"]["weighed"]) == {
        name.removesuffix("_mg") for name in whole["content"] if name.endswith("_mg")
    }
    owner_made.issued(shop, "virgin", 7_500, scale=shop.fine_scale)
    content = done(owner.get(f"circularity/{span}"))["content"]
    assert content["virgin_mg"] == content["weighed"]["virgin"]["mass_mg"] == 7_500
    # 2 * hypot(0.408, 5.774) mg, one reading on the fine scale.
    assert content["weighed"]["virgin"]["expanded_mg"] == pytest.approx(11.577, abs=0.001)
    assert done(owner.get("circularity/models/avocet/"))["scope"] == "Avocet"
    assert "AV-2601" in done(owner.get(f"circularity/batches/AV-2601/{span}"))["scope"]
    owner_made.sold(shop.batch, m2026_02=30)
    counts = done(owner.get(f"circularity/{span}"))["counts"]
    assert (counts["sold_until"], counts["sold_ever"]) == ("2026-02", 30)


def test_lists_come_in_pages_that_stay_stable_while_rows_are_added(shop: Shop, bea: User) -> None:
    bench = Caller(user=bea)
    codes = [done(bench.post("parcels/"), 201)["code"] for _parcel in range(5)]
    page = done(bench.get("parcels/?page_size=2"))
    assert [one["code"] for one in page["results"]] == codes[:2:-1]
    done(bench.post("parcels/"), 201)
    following = bench.client.get(page["next"]).json()
    assert [one["code"] for one in following["results"]] == codes[2:0:-1]
    assert len(done(bench.get("parcels/?page_size=9999"))["results"]) == 6

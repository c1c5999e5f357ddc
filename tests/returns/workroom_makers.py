"""Builders for the workroom's tests: a graded frame that waits to be mended, stripped, posted."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib.auth.models import User

from inventory.ledger.queries import naming
from inventory.models import Balance, PlaceKind
from returns.mending.rules import mending
from returns.mending.rules.mending import Check
from returns.models import Finding, Grading, RepairJob, Request, ReturnedFrame
from tests import furnished
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import filed, on_shelf

PASS = Check(closes_freely=True, screw_flush=True, lens_held=True, no_sharp_edge=True)
FAIL = Check(closes_freely=False, screw_flush=True, lens_held=True, no_sharp_edge=True)
NEW_ARM = {"remedy": "new-arm", "component": "arm_left", "parts": {"arm-avocet": 1}}
NEW_SCREW = {"remedy": "new-screw", "component": "screw_left", "parts": {"screw-m14": 1}}
STEP_UP = {"remedy": "step-up", "component": "arm_left", "parts": {"screw-m16": 1}}
POLISH = {"remedy": "polish-front", "component": "front", "parts": {}}
TIGHTEN = {"remedy": "tighten", "component": "screw_right", "parts": {}}


def arrived(shop: Shop, by: User, **changes: Any) -> Request:
    return filed(shop.avocet_slate, **({"state": "arrived"} | changes))


@furnished.once
def graded(
    shop: Shop, by: User, *plan: dict[str, Any], state: str = "to_mend", **wishes: Any
) -> ReturnedFrame:
    """A frame of 24.82 g with a request, a grading and a state, on the arrivals shelf."""
    request = arrived(shop, by, **wishes)
    frame = on_shelf(shop, by, request)
    grade(frame, by, *plan)
    ReturnedFrame.objects.filter(pk=frame.pk).update(state=state)
    return ReturnedFrame.objects.get(pk=frame.pk)


def grade(frame: ReturnedFrame, by: User, *plan: dict[str, Any]) -> Grading:
    grading = Grading.objects.create(
        frame=frame,
        computed="repair",
        decided="repair",
        sums={
            "facts": {"polymer": "ours"},
            "plan": {"remedies": list(plan)} if plan else None,
        },
        at=NOON + timedelta(hours=1),
        by=by,
    )
    return grading


def found(frame: ReturnedFrame, component: str, defect: str) -> Finding:
    grading = frame.gradings.get()
    return Finding.objects.create(grading=grading, component=component, defect=defect)


@furnished.once
def opened(frame: ReturnedFrame, by: User) -> RepairJob:
    return mending.open_job(key=key(), frame=frame, at=NOON, by=by)


def do(job: RepairJob, by: User, index: int = 0, **changes: Any) -> Any:
    step = list(job.steps.all())[index]
    facts: dict[str, Any] = {
        "key": key(),
        "job": job,
        "step": step,
        "minutes": 6,
        "parts_used": mending.planned_parts(step),
        "at": NOON,
        "by": by,
    } | changes
    labels = [naming.bin_code(code) for code in facts["parts_used"]]
    return mending.do_step(**({"scanned": labels} | facts))


def weigh_out(job: RepairJob, shop: Shop, by: User, mass: str, **changes: Any) -> ReturnedFrame:
    facts: dict[str, Any] = {
        "key": key(),
        "job": job,
        "scale": shop.fine_scale,
        "mass": mass,
        "at": NOON,
        "by": by,
    }
    return mending.weigh_out(**(facts | changes))


@furnished.once
def mended(shop: Shop, by: User) -> ReturnedFrame:
    """Polished, checked, weighed out at 24.80 g."""
    job = opened(graded(shop, by, POLISH), by)
    do(job, by)
    mending.check(key=key(), job=job, check=PASS, at=NOON, by=by)
    return weigh_out(job, shop, by, "24.800 g")


def held(kind: PlaceKind, unit: str = "mg") -> int:
    rows = Balance.objects.filter(place__kind=kind, place__unit=unit)
    return sum(balance.quantity for balance in rows)

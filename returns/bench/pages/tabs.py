"""Which tabs the bench has, where each leads, and to which a page belongs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django.http import HttpRequest
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from returns.bench.queries import queue
from returns.models import ReturnedFrame
from returns.story.sums.states import FrameState


@dataclass(frozen=True, slots=True)
class Tab:
    """One tab; `counted` are the steps of the queue that its number adds up, none for no number."""

    key: str
    label: str | Promise
    page: str
    step: str = ""
    counted: tuple[str, ...] = ()

    @property
    def path(self) -> str:
        return reverse(self.page) + (f"?step={self.step}" if self.step else "")


TABS: Final = (
    Tab("today", _("Today"), "bench"),
    Tab("arrivals", _("Arrivals"), "arrivals", "", ("parcels",)),
    Tab("look", _("Look-over"), "bench", "look", ("look",)),
    Tab("mend", pgettext_lazy("bench tab", "Mend"), "bench", "at-mend", queue.GROUPS["at-mend"]),
    Tab("strip", _("Strip"), "bench", "strip", ("strip",)),
    Tab("boxes", _("Boxes and runs"), "boxes", "", ("runs",)),
    Tab("stock", _("Stock"), "stock"),
    Tab("post", pgettext_lazy("bench tab", "Post"), "kits", "", ("post", "return", "kits")),
)
_BY_PAGE: Final = {
    "arrivals": "arrivals",
    "parcel-book": "arrivals",
    "parcel": "arrivals",
    "counter": "arrivals",
    "counter-receipt": "arrivals",
    "partner-box": "arrivals",
    "bench-request": "arrivals",
    "frame-look": "look",
    "mend": "mend",
    "mend-open": "mend",
    "mend-act": "mend",
    "mend-step": "mend",
    "strip": "strip",
    "discard": "strip",
    "salvage": "strip",
    "boxes": "boxes",
    "run": "boxes",
    "run-act": "boxes",
    "batch": "stock",
    "batches": "stock",
    "heat": "stock",
    "blend": "stock",
    "stock": "stock",
    "stock-action": "stock",
    "spoiled": "stock",
    "goods": "stock",
    "goods-receive": "stock",
    "goods-load": "stock",
    "goods-act": "stock",
    "goods-evidence": "stock",
    "goods-receipt": "stock",
    "kits": "post",
    "kit": "post",
    "post-frame": "post",
    "post-lenses": "post",
}
_BY_STEP: Final = {tab.step: tab.key for tab in TABS if tab.step} | {
    step: tab.key for tab in TABS for step in tab.counted
}
_BY_STATE: Final = {
    FrameState.WEIGHED: "look",
    FrameState.HELD: "look",
    FrameState.TO_MEND: "mend",
    FrameState.MENDING: "mend",
    FrameState.MENDED: "post",
    FrameState.TO_STRIP: "strip",
    FrameState.TO_RETURN: "post",
    FrameState.BOXED: "boxes",
}


def of(request: HttpRequest, frame: ReturnedFrame | None) -> list[dict[str, Any]]:
    """Return each tab with its number and whether the page belongs to it."""
    counts, current = queue.tab_counts(), _current(request, frame)
    return [
        {
            "it": tab,
            "count": sum(counts.get(step, 0) for step in tab.counted) if tab.counted else None,
            "current": ("page" if request.get_full_path() == tab.path else "true")
            if tab.key == current
            else "",
        }
        for tab in TABS
    ]


def _current(request: HttpRequest, frame: ReturnedFrame | None) -> str:
    name = request.resolver_match.url_name if request.resolver_match else ""
    if name == "bench":
        return _BY_STEP.get(request.GET.get("step", ""), "today")
    if name and name.startswith("frame") and name != "frame-look":
        return _BY_STATE.get(FrameState(frame.state), "") if frame is not None else ""
    return _BY_PAGE.get(name or "", "")

"""Who may do what, for every address of the whole service. A page that is not here fails the walk.

One row per URL pattern. For each method that an address takes, the callers who get past its door;
what they find behind it is told elsewhere. Everybody else is sent to sign in (pages), is refused
with 401 or 403 (API), or gets a plain 403 (the wrong role on a page).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

NOBODY: Final = "nobody"
CALLERS: Final = (NOBODY, "bench", "accountant", "owner")

OPEN: Final = frozenset(CALLERS)
STAFF: Final = OPEN - {NOBODY}
BENCH: Final = frozenset({"bench", "owner"})
BOOKS: Final = frozenset({"accountant", "owner"})
OWNERS: Final = frozenset({"owner"})
NONE: Final = frozenset[str]()


@dataclass(frozen=True)
class Row:
    """An address and who passes its door; NONE for a method that it does not take."""

    route: str
    get: frozenset[str] = NONE
    post: frozenset[str] = NONE

    def callers(self, method: str) -> frozenset[str]:
        return {"GET": self.get, "POST": self.post}.get(method, NONE)

    @property
    def is_api(self) -> bool:
        return self.route.startswith("api/")


# Below these prefixes the framework's own addresses lie; one row stands for all of them.
PREFIXES: Final = ("admin/", "language/")

TABLE: Final = (
    # Customers: no account; the secret in the link is the key to a story.
    Row("", get=OPEN),
    Row("ask/screws/", get=OPEN, post=OPEN),
    Row("ask/return/", get=OPEN, post=OPEN),
    Row("claims/", get=OPEN),
    Row("claims/claims.json", get=OPEN),
    Row("find/", get=OPEN, post=OPEN),
    Row("guide/<slug:model>/", get=OPEN),
    Row("method/", get=OPEN),
    Row("notice/", get=OPEN),
    Row("authority.crt", get=OPEN),
    Row("ask/photo/<uuid:form>/<str:file_name>/", get=OPEN),
    Row("story/<str:secret>/", get=OPEN),
    Row("story/<str:secret>/slip.pdf", get=OPEN),
    Row("story/<str:secret>/photo/<str:file_name>/", get=OPEN),
    Row("story/<str:secret>/withdraw/", get=OPEN, post=OPEN),
    Row("story/<str:secret>/address/", get=OPEN, post=OPEN),
    Row("story/<str:secret>/posted/", get=OPEN, post=OPEN),
    Row("story/<str:secret>/wake/", get=OPEN, post=OPEN),
    Row("story/<str:secret>/email/", get=OPEN, post=OPEN),
    Row("story/<str:secret>/again/", get=OPEN, post=OPEN),
    Row("story/<str:secret>/another/", get=OPEN),
    Row("story/<str:secret>/missing/", get=OPEN, post=OPEN),
    Row("slip/<str:secret>/", get=OPEN, post=OPEN),
    Row("partner/<str:secret>/", get=OPEN),
    Row("photo/<str:file_name>/", get=BENCH),
    # The door and the probes.
    Row("enter/", get=OPEN, post=OPEN),
    Row("leave/", post=OPEN),
    Row("enter/password/", get=STAFF, post=STAFF),
    Row("enter/first/<str:uidb64>/<str:token>/", get=OPEN, post=OPEN),
    Row("desk/", get=STAFF),
    Row("language/", post=OPEN),
    Row("alive/", get=OPEN),
    Row("ready/", get=OPEN),
    # A monitor passes by its token instead.
    Row("health/", get=OWNERS),
    Row("metrics/", get=OWNERS),
    # The bench.
    Row("bench/", get=BENCH),
    Row("bench/arrivals/", get=BENCH, post=BENCH),
    Row("bench/arrivals/tags.pdf", get=BENCH),
    Row("go/", get=STAFF),
    Row("go/<path:code>/", get=STAFF),
    Row("bench/request/<str:reference>/", get=BENCH, post=BENCH),
    Row("bench/counter/", get=BENCH, post=BENCH),
    Row("bench/counter/consent.pdf", post=BENCH),
    Row("bench/counter/<str:reference>/", get=BENCH),
    Row("bench/counter/<str:reference>/receipt.pdf", get=BENCH),
    Row("bench/partners/box/", get=BENCH, post=BENCH),
    Row("bench/parcel/book/", get=BENCH, post=BENCH),
    Row("bench/parcel/<str:code>/", get=BENCH, post=BENCH),
    Row("bench/parcel/<str:code>/finish/", post=BENCH),
    Row("bench/parcel/<str:code>/reopen/", post=BENCH),
    Row("bench/parcel/<str:code>/label.pdf", get=BENCH),
    Row("bench/parcel/<str:code>/tags.pdf", get=BENCH),
    Row("bench/frame/<str:tag>/", get=STAFF),
    Row("bench/frame/<str:tag>/look/", get=BENCH, post=BENCH),
    Row("bench/frame/<str:tag>/overrule/", post=BENCH),
    Row("bench/frame/<str:tag>/request/", post=BENCH),
    Row("bench/frame/<str:tag>/wish/", post=BENCH),
    Row("bench/frame/<str:tag>/unstrip/", post=BENCH),
    Row("bench/frame/<str:tag>/unweigh/", post=BENCH),
    Row("bench/frame/<str:tag>/label.pdf", get=BENCH),
    Row("bench/photo/<str:file_name>", get=BENCH),
    Row("bench/box/<str:code>/label.pdf", get=BENCH),
    Row("bench/lot/<str:code>/label.pdf", get=BENCH),
    Row("bench/bin/<str:code>/label.pdf", get=BENCH),
    Row("bench/labels/", get=BENCH),
    Row("bench/labels/sheet/<slug:what>.pdf", get=BENCH),
    Row("bench/labels/calibration.pdf", get=BENCH),
    # The workroom.
    Row("bench/frame/<str:tag>/mend/", get=BENCH),
    Row("bench/frame/<str:tag>/mend/open/", post=BENCH),
    Row("bench/frame/<str:tag>/mend/step/<int:step>/", post=BENCH),
    Row("bench/frame/<str:tag>/mend/drop/<int:step>/", post=BENCH),
    Row("bench/frame/<str:tag>/mend/withdraw/<int:step>/", post=BENCH),
    Row("bench/frame/<str:tag>/mend/<slug:action>/", post=BENCH),
    Row("bench/frame/<str:tag>/strip/", get=BENCH, post=BENCH),
    Row("bench/frame/<str:tag>/discard/", post=BENCH),
    Row("bench/frame/<str:tag>/post/", get=BENCH, post=BENCH),
    Row("bench/frame/<str:tag>/post/lenses/", post=BENCH),
    Row("bench/frame/<str:tag>/post/address.pdf", get=BENCH),
    Row("bench/kits/", get=BENCH),
    Row("bench/kits/addresses.pdf", get=BENCH),
    Row("bench/kits/<str:reference>/", get=BENCH, post=BENCH),
    Row("bench/kits/<str:reference>/address.pdf", get=BENCH),
    Row("bench/boxes/", get=BENCH),
    Row("bench/boxes/<str:code>/propose/", post=BENCH),
    Row("bench/run/<str:code>/", get=BENCH),
    Row("bench/run/<str:code>/<slug:action>/", post=BENCH),
    Row("bench/blend/", get=BENCH),
    Row("bench/heat/<path:code>/", get=STAFF),
    Row("bench/salvage/", get=BENCH),
    Row("bench/salvage/approve/", post=BENCH),
    Row("bench/salvage/withdraw/", post=BENCH),
    Row("bench/stock/", get=STAFF),
    Row("bench/stock/<slug:action>/", get=BENCH, post=BENCH),
    # Accounts.
    Row("months/", get=BOOKS),
    Row("months/<str:label>/", get=BOOKS),
    Row("months/<str:label>/close/", get=BOOKS, post=BOOKS),
    Row("months/<str:label>/report/", get=BOOKS),
    Row("months/<str:label>/figure/<str:row>/<slug:column>/", get=BOOKS),
    Row("months/<str:label>/files/<str:name>", get=BOOKS),
    Row("months/<str:label>/pdf/", get=BOOKS, post=BOOKS),
    Row("months/<str:label>/pdf/<uuid:key>/", get=BOOKS),
    Row("movements/", get=BOOKS),
    Row("movements/<int:number>/", get=BOOKS, post=BOOKS),
    # The owner.
    Row("owner/", get=OWNERS),
    Row("owner/table/<slug:name>.csv", get=OWNERS),
    Row("owner/audits/", get=OWNERS, post=OWNERS),
    Row("owner/audits/<int:number>/", get=BENCH, post=BENCH),
    Row("owner/audits/<int:number>/chances.csv", get=BENCH),
    Row("owner/claims/", get=OWNERS),
    Row("owner/claims/publish/", post=OWNERS),
    Row("owner/claims/withdraw/", post=OWNERS),
    Row("owner/emissions/", get=OWNERS),
    Row("owner/letters/", get=OWNERS),
    Row("owner/letters/again/", post=OWNERS),
    Row("owner/partners/", get=OWNERS, post=OWNERS),
    Row("owner/partners/<int:number>/", get=OWNERS),
    Row("owner/partners/<int:number>/sheet/", post=OWNERS),
    Row("owner/partners/<int:number>/sheet/<int:sheet>.pdf", get=OWNERS),
    Row("owner/partners/<int:number>/renew/", post=OWNERS),
    Row("owner/partners/<int:number>/close/", post=OWNERS),
    Row("owner/personal/", get=OWNERS, post=OWNERS),
    Row("owner/personal/<str:reference>/", get=OWNERS),
    Row("owner/personal/<str:reference>/copy.json", post=OWNERS),
    Row("owner/personal/<str:reference>/erase/", get=OWNERS, post=OWNERS),
    Row("owner/repairability/", get=OWNERS),
    Row("owner/lifetimes/", get=OWNERS),
    Row("owner/lifetimes/table/<slug:name>.csv", get=OWNERS),
    Row("owner/models/", get=OWNERS, post=OWNERS),
    Row("owner/models/import/", post=OWNERS),
    Row("owner/models/template.csv", get=OWNERS),
    Row("owner/remedies/", get=OWNERS),
    Row("owner/sold/", get=OWNERS, post=OWNERS),
    Row("owner/sold/import/", post=OWNERS),
    Row("owner/sold/template.csv", get=OWNERS),
    Row("owner/setup/", get=OWNERS),
    Row("owner/setup/<slug:step>/", get=OWNERS, post=OWNERS),
    Row("owner/people/", get=OWNERS, post=OWNERS),
    Row("owner/people/<int:number>/password/", post=OWNERS),
    Row("owner/people/<int:number>/off/", post=OWNERS),
    Row("owner/people/<int:number>/on/", post=OWNERS),
    Row("owner/tokens/", get=OWNERS, post=OWNERS),
    Row("owner/tokens/<int:number>/revoke/", post=OWNERS),
    # The framework's admin lets in by its own staff flag, which the tests look at apart.
    Row("admin/"),
    # The API: for everybody.
    Row("api/models/", get=OPEN),
    Row("api/models/<str:code>/", get=OPEN),
    Row("api/send-backs/", post=OPEN),
    Row("api/spare-screws/", post=OPEN),
    Row("api/story/", get=OPEN),
    Row("api/story/withdrawals/", post=OPEN),
    Row("api/story/addresses/", post=OPEN),
    Row("api/story/missing-reports/", post=OPEN),
    Row("api/story/posted-reports/", post=OPEN),
    Row("api/story/wakings/", post=OPEN),
    Row("api/story/emails/", post=OPEN),
    # The API: requests, parcels, kits.
    Row("api/requests/", get=STAFF),
    Row("api/requests/<str:reference>/", get=STAFF),
    Row("api/parcels/", get=STAFF, post=BENCH),
    Row("api/parcels/<str:code>/", get=STAFF),
    Row("api/parcels/<str:code>/frames/", post=BENCH),
    Row("api/parcels/<str:code>/endings/", post=BENCH),
    Row("api/kits/", get=STAFF),
    Row("api/kits/<str:reference>/dispatches/", post=BENCH),
    Row("api/kits/<str:reference>/returns-to-queue/", post=BENCH),
    Row("api/kits/<str:reference>/reposts/", post=BENCH),
    Row("api/kits/<str:reference>/arrivals/", post=BENCH),
    # The API: frames.
    Row("api/frames/", get=STAFF),
    Row("api/frames/<str:tag>/", get=STAFF),
    Row("api/frames/<str:tag>/gradings/", post=BENCH),
    Row("api/frames/<str:tag>/overrulings/", post=BENCH),
    Row("api/frames/<str:tag>/wishes/", post=BENCH),
    Row("api/frames/<str:tag>/voidings/", post=BENCH),
    Row("api/frames/<str:tag>/jobs/", post=BENCH),
    Row("api/frames/<str:tag>/job/additions/", post=BENCH),
    Row("api/frames/<str:tag>/job/removals/", post=BENCH),
    Row("api/frames/<str:tag>/job/steps/", post=BENCH),
    Row("api/frames/<str:tag>/job/checks/", post=BENCH),
    Row("api/frames/<str:tag>/job/check-withdrawals/", post=BENCH),
    Row("api/frames/<str:tag>/job/step-withdrawals/", post=BENCH),
    Row("api/frames/<str:tag>/job/endings/", post=BENCH),
    Row("api/frames/<str:tag>/job/weigh-outs/", post=BENCH),
    Row("api/frames/<str:tag>/strip-downs/", post=BENCH),
    Row("api/frames/<str:tag>/strip-down-reversals/", post=BENCH),
    Row("api/frames/<str:tag>/discards/", post=BENCH),
    Row("api/frames/<str:tag>/dispatches/", post=BENCH),
    Row("api/frames/<str:tag>/lens-dispatches/", post=BENCH),
    # The API: material and parts.
    Row("api/boxes/", get=STAFF),
    Row("api/boxes/<str:code>/", get=STAFF),
    Row("api/lots/", get=STAFF),
    Row("api/lots/<str:code>/", get=STAFF),
    Row("api/balances/", get=STAFF),
    Row("api/runs/", get=STAFF, post=BENCH),
    Row("api/runs/<str:code>/", get=STAFF),
    Row("api/runs/<str:code>/confirmations/", post=BENCH),
    Row("api/runs/<str:code>/cancellations/", post=BENCH),
    Row("api/runs/<str:code>/weigh-outs/", post=BENCH),
    Row("api/runs/<str:code>/explanations/", post=BENCH),
    Row("api/parts/", get=STAFF),
    Row("api/parts/<str:code>/", get=STAFF),
    Row("api/parts/<str:code>/receipts/", post=BENCH),
    Row("api/parts/<str:code>/counts/", post=BENCH),
    Row("api/feedstock/", post=BENCH),
    Row("api/scrap/", post=BENCH),
    Row("api/issues/", post=BENCH),
    Row("api/places/<str:code>/counts/", post=BENCH),
    Row("api/places/<str:code>/disposals/", post=BENCH),
    Row("api/batches/", get=STAFF, post=BENCH),
    # The API: the books.
    Row("api/movements/", get=STAFF),
    Row("api/movements/<int:number>/", get=STAFF),
    Row("api/movements/<int:number>/reversals/", post=BOOKS),
    Row("api/months/", get=STAFF),
    Row("api/months/<str:label>/", get=STAFF),
    Row("api/months/<str:label>/report/", get=BOOKS),
    Row("api/months/<str:label>/reconciliation/", get=BOOKS),
    Row("api/months/<str:label>/closings/", post=BOOKS),
    # The API: the owner's.
    Row("api/lifetimes/", get=STAFF),
    Row("api/forecast/", get=STAFF),
    Row("api/part-orders/", get=STAFF),
    Row("api/repairability/", get=STAFF),
    Row("api/outstanding/", get=STAFF),
    Row("api/weigh-audits/", get=STAFF, post=OWNERS),
    Row("api/weigh-audits/<int:number>/", get=STAFF),
    Row("api/weigh-audits/<int:number>/results/", post=BENCH),
    Row("api/claims/", get=STAFF),
    Row("api/emissions/", get=STAFF),
    Row("api/circularity/", get=STAFF),
    Row("api/circularity/models/<str:code>/", get=STAFF),
    Row("api/circularity/batches/<str:code>/", get=STAFF),
    Row("api/sold-units/trials/", post=OWNERS),
    Row("api/sold-units/imports/", post=OWNERS),
    Row("api/tokens/", get=OWNERS, post=OWNERS),
    Row("api/tokens/<str:handle>/revocations/", post=OWNERS),
    # The API: salvage.
    Row("api/salvage/", get=STAFF),
    Row("api/salvage/promises/", post=BENCH),
    Row("api/salvage/withdrawals/", post=BENCH),
    # The API: about itself.
    Row("api/schema/", get=OPEN),
    Row("api/docs/", get=OPEN),
    Row("api/problems/", get=OPEN),
    Row("api/^.*$"),
)

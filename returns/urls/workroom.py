"""Addresses of the workroom: mending, stripping, posting, boxes, runs, stock."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from returns.goods.pages import goods
from returns.leaving import pages as posting
from returns.mending.pages import mend
from returns.moulding.pages import batches, blend, cards, heat_shown
from returns.regrind.pages import boxes, strip
from returns.salvage import pages as salvage
from returns.spoiling import pages as spoiled
from returns.stock.pages import stock

FRAME = "bench/frame/<str:tag>"

urlpatterns: list[URLPattern | URLResolver] = [
    path(f"{FRAME}/mend/", mend.mend, name="mend"),
    path(f"{FRAME}/mend/open/", mend.open_job, name="mend-open"),
    path(f"{FRAME}/mend/step/<int:step>/", mend.do_step, name="mend-step"),
    path(f"{FRAME}/mend/drop/<int:step>/", mend.drop_step, name="mend-drop"),
    path(f"{FRAME}/mend/withdraw/<int:step>/", mend.withdraw_step, name="mend-withdraw"),
    path(f"{FRAME}/mend/<slug:action>/", mend.act, name="mend-act"),
    path(f"{FRAME}/strip/", strip.strip, name="strip"),
    path(f"{FRAME}/discard/", strip.discard, name="discard"),
    path(f"{FRAME}/post/", posting.post_frame, name="post-frame"),
    path(f"{FRAME}/post/lenses/", posting.post_lenses, name="post-lenses"),
    path(f"{FRAME}/post/address.pdf", posting.frame_label, name="post-label"),
    path("bench/kits/", posting.kit_list, name="kits"),
    path("bench/kits/addresses.pdf", posting.address_sheet, name="address-sheet"),
    path("bench/kits/<str:reference>/", posting.kit, name="kit"),
    path("bench/kits/<str:reference>/address.pdf", posting.kit_label, name="kit-label"),
    path("bench/boxes/", boxes.box_list, name="boxes"),
    path("bench/boxes/<str:code>/propose/", boxes.propose, name="box-propose"),
    path("bench/run/<str:code>/", boxes.run, name="run"),
    path("bench/run/<str:code>/<slug:action>/", boxes.act, name="run-act"),
    path("bench/blend/", blend.page, name="blend"),
    path("bench/cards/", cards.card_list, name="cards"),
    path("bench/cards/<str:code>/", cards.card, name="card"),
    path("bench/cards/<str:code>/<slug:action>/", cards.act, name="card-act"),
    path("bench/batches/", batches.page, name="batches"),
    path("bench/batches/<str:code>/", batches.card, name="batch"),
    path("bench/heat/<path:code>/", heat_shown.page, name="heat"),
    path("bench/salvage/", salvage.page, name="salvage"),
    path("bench/salvage/approve/", salvage.approve, name="salvage-approve"),
    path("bench/salvage/withdraw/", salvage.withdraw, name="salvage-withdraw"),
    path("bench/goods/", goods.page, name="goods"),
    path("bench/goods/receive/", goods.receive, name="goods-receive"),
    path("bench/goods/evidence/<str:file_name>", goods.picture, name="goods-picture"),
    path("bench/goods/evidence/<str:file_name>/delete/", goods.drop, name="goods-drop"),
    path("bench/goods/<str:code>/", goods.load, name="goods-load"),
    path("bench/goods/<str:code>/evidence/", goods.evidence, name="goods-evidence"),
    path("bench/goods/<str:code>/receipt/", goods.receipt, name="goods-receipt"),
    path("bench/goods/<str:code>/<slug:action>/", goods.act, name="goods-act"),
    path("bench/spoiled/", spoiled.page, name="spoiled"),
    path("bench/stock/", stock.stock_room, name="stock"),
    path("bench/stock/<slug:action>/", stock.stock_action, name="stock-action"),
]

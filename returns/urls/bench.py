"""Addresses of the bench: today's queue, parcels, frames, the look-over, labels, finding a code."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from returns.arriving.pages import in_a_row, parcels
from returns.asking import pages as asking
from returns.bench.pages import frames, going, labelling, today
from returns.counter.pages import taking as counter
from returns.devices import pages as devices
from returns.grading.pages import looks
from returns.handover.pages import notes, shelves, taking
from returns.joining import pages as joining
from returns.partners.pages import box as partner_box

urlpatterns: list[URLPattern | URLResolver] = [
    path("bench/", today.today, name="bench"),
    path("bench/arrivals/", in_a_row.arrivals, name="arrivals"),
    path("bench/arrivals/tags.pdf", labelling.tags_of, name="tags-of"),
    path("go/", going.go, name="go"),
    path("go/<path:code>/", going.go, name="go-code"),
    path("bench/request/<str:reference>/", parcels.request_page, name="bench-request"),
    path("bench/counter/", counter.take_in, name="counter"),
    path("bench/counter/consent.pdf", counter.consent_slip, name="counter-consent"),
    path("bench/counter/<str:reference>/", counter.receipt, name="counter-receipt"),
    path(
        "bench/counter/<str:reference>/receipt.pdf", counter.receipt_pdf, name="counter-receipt-pdf"
    ),
    path("bench/partners/box/", partner_box.book, name="partner-box"),
    path("bench/parcel/book/", parcels.book, name="parcel-book"),
    path("bench/parcel/<str:code>/", parcels.parcel, name="parcel"),
    path("bench/parcel/<str:code>/finish/", parcels.finish, name="parcel-finish"),
    path("bench/parcel/<str:code>/part/", joining.join, name="parcel-part"),
    path(
        "bench/parcel/<str:code>/part/<int:number>/out/", joining.take_out, name="parcel-part-out"
    ),
    path("bench/parcel/<str:code>/reopen/", parcels.reopen, name="parcel-reopen"),
    path("bench/parcel/<str:code>/label.pdf", labelling.parcel_label, name="parcel-label"),
    path("bench/parcel/<str:code>/tags.pdf", labelling.parcel_tags, name="parcel-tags"),
    path("bench/frame/<str:tag>/", frames.frame, name="frame"),
    path("bench/frame/<str:tag>/look/", looks.look, name="frame-look"),
    path("bench/frame/<str:tag>/hand/", frames.hand, name="frame-hand"),
    path("bench/frame/<str:tag>/overrule/", frames.overrule, name="frame-overrule"),
    path("bench/frame/<str:tag>/request/", frames.assign, name="frame-assign"),
    path("bench/frame/<str:tag>/wish/", frames.wish, name="frame-wish"),
    path("bench/frame/<str:tag>/ask/", asking.ask, name="frame-ask"),
    path("bench/frame/<str:tag>/ask/told/", asking.told, name="frame-ask-told"),
    path("bench/frame/<str:tag>/ask/withdraw/", asking.withdraw, name="frame-ask-withdraw"),
    path("bench/frame/<str:tag>/unstrip/", frames.unstrip, name="frame-unstrip"),
    path("bench/frame/<str:tag>/unweigh/", frames.unweigh, name="frame-unweigh"),
    path("bench/frame/<str:tag>/label.pdf", labelling.frame_label, name="frame-label"),
    path("bench/photo/<str:file_name>", frames.photo, name="frame-photo"),
    path("bench/box/<str:code>/label.pdf", labelling.box_label, name="box-label"),
    path("bench/lot/<str:code>/label.pdf", labelling.lot_label, name="lot-label"),
    path("bench/bin/<str:code>/label.pdf", labelling.bin_label, name="bin-label"),
    path("bench/labels/", labelling.labels_page, name="bench-labels"),
    path("bench/labels/sheet/<slug:what>.pdf", labelling.sheet, name="label-sheet"),
    path("bench/labels/calibration.pdf", labelling.calibration, name="label-calibration"),
    path("bench/notes/", notes.notes, name="notes"),
    path("bench/notes/<int:number>/done/", notes.tick, name="note-done"),
    path("bench/frame/<str:tag>/photos/", taking.page, name="frame-photos"),
    path(
        "bench/frame/<str:tag>/photos/<str:file_name>/delete/", taking.delete, name="photo-delete"
    ),
    path("bench/taken/<str:file_name>", taking.picture, name="bench-photo"),
    path("bench/frame/<str:tag>/shelf/", shelves.of_frame, name="frame-shelf"),
    path("bench/boxes/<str:code>/shelf/", shelves.of_box, name="box-shelf"),
    path("bench/shelves/", shelves.shelves, name="shelves"),
    path("bench/shelves/label.pdf", shelves.shelf_label, name="shelf-label"),
    path("bench/shelves/<path:code>/", shelves.shelf, name="shelf"),
    path("bench/devices/", devices.page, name="devices"),
    path("bench/devices/test-label.pdf", devices.test_label, name="test-label"),
]

"""What rows, columns, accounts and flags of the report are called. Words only, no figures."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from inventory.models.goods import GiverClass, GoodsKind, Stream
from inventory.models.materials import Origin
from inventory.models.places import PlaceKind
from inventory.models.spoiled import SpoilCause, Step

COLUMNS = {
    "opening": _("Opening"),
    "credited": _("Credited from returns"),
    "feedstock": _("Bought feedstock"),
    "goods": _("Net of used goods"),
    "virgin": _("Bought virgin"),
    "in_process": _("In-process regrind"),
    "taken_on": _("Taken on as opening stock"),
    "ground_in": _("From grinding"),
    "ground_out": _("To grinding"),
    "dust": _("Lost as dust"),
    "purge": _("Lost as purge"),
    "moisture": _("Lost as moisture"),
    "difference": _("Run difference"),
    "issued": _("Issued to moulding"),
    "counted": _("Count corrections"),
    "picked_out": _("Wrong polymer picked out"),
    "received": _("Received"),
    "salvaged": _("Salvaged"),
    "mends": _("Used in mends"),
    "kits": _("Posted in kits"),
    "in": _("In"),
    "out": _("Out"),
    "closing": _("Closing"),
}
SHORT = COLUMNS | {
    "credited": _("From returns"),
    "feedstock": _("Feedstock"),
    "goods": _("From goods"),
    "virgin": _("Virgin"),
    "in_process": _("In-process"),
    "taken_on": _("Taken on"),
    "dust": _("Dust"),
    "purge": _("Purge"),
    "moisture": _("Moisture"),
    "issued": _("To moulding"),
    "counted": _("Counts"),
    "picked_out": _("Picked out"),
}
BEYOND = {
    "goods_in": _("Came in"),
    "boxed": _("Into boxes"),
    "taken_out": _("Taken out"),
    "washed_off": _("Washed and dried off"),
    "picked_out": _("Picked out later"),
    "went_sold": _("Sold"),
    "went_given": _("Given on"),
    "went_kept": _("Kept"),
    "went_waste": _("Waste"),
    "spoiled_pairs": _("Spoiled pairs"),
    "scrap": _("Back into boxes (g)"),
    "scrap_wasted": _("Wasted (g)"),
}
"""Columns of goods, outgoing streams and scrap; `SECTIONS` says which stand in which table."""
SECTIONS = {
    "goods": ("goods_in", "boxed", "taken_out", "washed_off", "picked_out"),
    "outgoing": ("went_sold", "went_given", "went_kept", "went_waste"),
    "scrap": ("spoiled_pairs", "scrap", "scrap_wasted"),
}
IN_PIECES = frozenset({"spoiled_pairs"})
FRAMES = {
    "received": _("received"),
    "mended": _("mended and posted"),
    "unmended": _("posted back as they were"),
    "reground": _("stripped for regrinding"),
    "discarded": _("ended as waste"),
    "held": _("on hold at the month's end"),
}
ORIGINS = dict(Origin.choices)
PLACES = dict(PlaceKind.choices)
GIVERS = dict(GiverClass.choices)
STREAMS = dict(Stream.choices)
STEPS_OF_WORK = dict(Step.choices)
GOODS, CAUSES = GoodsKind.STARTING, SpoilCause.STARTING
FLAGS = {
    "past_check": _("its check was overdue"),
    "no_check_date": _("no check date is known"),
    "below_minimum": _("below the smallest load"),
    "over_capacity": _("over the largest load"),
}
ACCOUNTS = {
    "material_stock": _("Material stock"),
    "parts_stock": _("Spare parts in stock"),
    "brought_forward": _("Brought forward from earlier years"),
    # Of months that were closed before each source of cost had an account of its own.
    "recovery_cost": _("Cost of recovery and purchase"),
    "purchases": _("Material bought"),
    "recovery": _("Recovery of returns: labour and postage in"),
    "conversion": _("Conversion: labour of grinding"),
    "other_receipts": _("Other material taken in"),
    "material_used": _("Material used"),
    "abnormal_loss": _("Abnormal loss"),
    "normal_loss_unborne": _("Loss with nothing left to bear it"),
    "write_down": _("Write-down of stock"),
    "stock_allowance": _("Allowance on stock"),
    "parts_purchases": _("Spare parts bought"),
    "parts_mends": _("Spare parts used in repairs"),
    "parts_kits": _("Spare parts posted in kits"),
    "parts_missing": _("Spare parts found missing"),
    "parts_taken_on": _("Spare parts taken onto the books"),
}
JOURNAL = {
    "material_received": _("material received, at cost"),
    "material_bought": _("material bought, at cost"),
    "material_recovered": _("returns taken apart: labour and postage in"),
    "material_converted": _("grinding: labour"),
    "material_otherwise": _("other material taken in, at cost"),
    "material_issued": _("material issued, at average cost"),
    "abnormal_loss_expensed": _("differences and counts found short, at average cost"),
    "normal_loss_took_all": _("the loss took all there was"),
    "written_down": _("written down to net realisable value"),
    "write_down_reversed": _("earlier write-down reversed"),
    "allowance_left_with_material": _("share of the allowance that left with its material"),
    "parts_taken_on": _("spare parts that were there before they had a worth in the books"),
    "parts_received": _("spare parts bought, at cost"),
    "parts_fitted": _("spare parts used in repairs, at average cost"),
    "parts_posted": _("spare parts posted in kits, at average cost"),
    "parts_missing": _("spare parts found missing, at average cost"),
}
PARTS_WORTH = {
    "opening_minor": _("Opening, at cost"),
    "received_minor": _("Bought"),
    "mends_minor": _("Used in repairs"),
    "kits_minor": _("Posted in kits"),
    "missing_minor": _("Found missing"),
    "closing": _("Pieces"),
    "cost_minor": _("Closing, at cost"),
}
STEPS = {
    "opening": _("Opening, at cost"),
    "bought": _("Bought material"),
    "recovered": _("Recovery: returns taken apart"),
    "converted": _("Conversion: grinding"),
    "otherwise": _("Other material taken in"),
    "issued": _("Issued to moulding, at average cost"),
    "written_off": _("Written off: differences and counts found short"),
    "cost": _("Closing, at cost"),
    "allowance_before": _("Allowance at the opening"),
    "allowance_left": _("Allowance that left with its material"),
    "written_down": _("Written down (−) or back (+) to net realisable value"),
    "carried": _("Carried at"),
}
KINDS = {
    "weigh_in": _("weigh-in"),
    "join_part": _("part joined its frame"),
    "carry": _("carried"),
    "fit_part": _("part fitted"),
    "post_frame": _("frame posted"),
    "strip_down": _("strip-down"),
    "receive_parts": _("parts received"),
    "post_kit": _("kit posted"),
    "count_parts": _("parts counted"),
    "receive_feedstock": _("material bought"),
    "receive_goods": _("goods received"),
    "sort_goods": _("goods sorted"),
    "pick_out": _("wrong polymer picked out"),
    "pass_on": _("kept stream passed on"),
    "return_scrap": _("in-process scrap returned"),
    "press_purge": _("purge and colour change at the press"),
    "grind": _("grind run"),
    "issue": _("issued to moulding"),
    "count_mass": _("stock count"),
    "opening": _("opening stock"),
    "dispose": _("waste disposed of"),
}
TOTAL = pgettext_lazy("row of a table", "All boxes and lots")

"""Where grams and pieces can be, and the parts that are counted there."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.models.changes import Kept
from inventory.models.materials import Colour, Lot, Origin, Polymer


class Unit(models.TextChoices):
    MILLIGRAM = "mg", _("milligram")
    PIECE = "pc", _("piece")


class PlaceKind(models.TextChoices):
    """Kinds of place. The boundary kinds stand for the world outside and may go negative."""

    WEARERS = "wearers", _("with wearers")
    SELLERS = "sellers", _("from sellers")
    PRESS = "press", _("at the press")
    UNEXPLAINED = "unexplained", _("unexplained")
    ARRIVALS = "arrivals", _("arrivals shelf")
    HOLD = "hold", _("hold shelf")
    BENCH = "bench", _("repair bench")
    SALVAGE = "salvage", _("salvage bin")
    BOX = "box", _("regrind box")
    LOT = "lot", _("flake lot")
    BIN = "bin", _("spare-part bin")
    LENS = "lens", _("lens waste")
    METAL = "metal", _("metal waste")
    FOREIGN = "foreign", _("foreign waste")
    DUST = "dust", _("dust")
    PURGE = "purge", _("purge")
    MOISTURE = "moisture", _("moisture")
    GIVERS = "givers", _("from givers of goods")
    BUYERS = "buyers", _("sold to others")
    TAKERS = "takers", _("given on")
    SORTING = "sorting", _("sorting table")
    KEPT = "kept", _("kept for somebody")
    FILM = "film", _("film waste")
    PAPER = "paper", _("paper waste")
    DIRT = "dirt", _("dirt")
    WASHED = "washed", _("washed and dried off")


BOUNDARY = frozenset(
    {
        PlaceKind.WEARERS,
        PlaceKind.SELLERS,
        PlaceKind.PRESS,
        PlaceKind.UNEXPLAINED,
        PlaceKind.GIVERS,
        PlaceKind.BUYERS,
        PlaceKind.TAKERS,
    }
)


class Side(models.TextChoices):
    LEFT = "left", _("left")
    RIGHT = "right", _("right")


class Part(Kept):
    """Something counted in pieces: screws, arms, lenses, nose pads; new or salvaged.

    Material, side and tint are named where pieces differ by them; a part that fits all names none.
    """

    code = models.SlugField(_("code"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=80)
    nominal_mg = models.PositiveIntegerField(_("mass of one, mg"), default=0)
    price_minor = models.PositiveIntegerField(_("price of one, cents"), default=0)
    screw_size = models.CharField(_("thread, such as M1.4"), max_length=8, blank=True, default="")
    length_um = models.PositiveIntegerField(_("length under head, µm"), null=True, blank=True)
    reorder_level = models.PositiveIntegerField(_("reorder level"), default=0)
    pack_size = models.PositiveIntegerField(_("pack size"), default=1)
    lead_time_days = models.PositiveIntegerField(_("lead time, days"), default=14)
    polymer = models.ForeignKey(
        Polymer,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("only in this polymer"),
    )
    colour = models.ForeignKey(
        Colour,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("only in this colour"),
    )
    side = models.CharField(
        _("only for this side"), max_length=5, choices=Side.choices, blank=True, default=""
    )
    tint = models.CharField(_("tint of the lens"), max_length=40, blank=True, default="")

    class Meta:
        verbose_name = _("part")
        verbose_name_plural = _("parts")
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(condition=Q(pack_size__gte=1), name="part_pack_has_pieces"),
            models.CheckConstraint(
                condition=Q(polymer__isnull=True, colour__isnull=True)
                | Q(polymer__isnull=False, colour__isnull=False),
                name="part_material_is_whole",
                violation_error_message=_(
                    "A material is a polymer and a colour: choose both, or neither."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Place(models.Model):
    """A place holds one unit. Boxes and lots are also of one polymer, colour and origin."""

    # Longer than the 40 characters of a movement's subject: a box is named by its whole class.
    code = models.CharField(_("code"), max_length=60, unique=True)
    kind = models.CharField(_("kind"), max_length=12, choices=PlaceKind.choices)
    unit = models.CharField(_("unit"), max_length=2, choices=Unit.choices)
    polymer = models.ForeignKey(Polymer, models.PROTECT, null=True, blank=True, related_name="+")
    colour = models.ForeignKey(Colour, models.PROTECT, null=True, blank=True, related_name="+")
    origin = models.CharField(
        _("origin"), max_length=30, choices=Origin.choices, blank=True, default=""
    )
    lot = models.OneToOneField(Lot, models.PROTECT, null=True, blank=True, related_name="place")
    part = models.ForeignKey(Part, models.PROTECT, null=True, blank=True, related_name="places")

    class Meta:
        verbose_name = _("place")
        verbose_name_plural = _("places")
        ordering = ["kind", "code"]
        constraints = [
            # Callers make a box or a bin by `get_or_create`: these two constraints are what lets
            # two of them at once end with one row.
            models.UniqueConstraint(
                fields=["polymer", "colour", "origin"],
                condition=Q(kind="box"),
                name="one_box_per_polymer_colour_origin",
            ),
            models.UniqueConstraint(
                fields=["kind", "part"],
                condition=Q(part__isnull=False),
                name="one_bin_per_kind_and_part",
            ),
            models.CheckConstraint(
                # `&` binds more tightly than `|`: a box or lot names all three, any other place
                # names none.
                condition=Q(kind__in=["box", "lot"], polymer__isnull=False, colour__isnull=False)
                & ~Q(origin="")
                | ~Q(kind__in=["box", "lot"]) & Q(polymer__isnull=True, origin=""),
                name="boxes_and_lots_name_their_material",
            ),
            models.CheckConstraint(
                condition=Q(kind="lot", lot__isnull=False) | ~Q(kind="lot") & Q(lot__isnull=True),
                name="lot_places_have_a_lot",
            ),
            models.CheckConstraint(
                condition=Q(kind="bin", part__isnull=False, unit="pc") | ~Q(kind="bin"),
                name="bins_count_a_part",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def is_boundary(self) -> bool:
        return self.kind in BOUNDARY


class ReservationState(models.TextChoices):
    OPEN = "open", _("open")
    USED = "used", _("used")
    RELEASED = "released", _("released")


class Reservation(models.Model):
    """Pieces promised to a story but still in the bin."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="reservations")
    pieces = models.PositiveIntegerField(_("pieces"))
    subject = models.CharField(_("for"), max_length=40, db_index=True)
    state = models.CharField(
        max_length=10, choices=ReservationState.choices, default=ReservationState.OPEN
    )
    made_at = models.DateTimeField(_("made"))

    class Meta:
        verbose_name = _("reservation")
        verbose_name_plural = _("reservations")
        constraints = [
            models.CheckConstraint(condition=Q(pieces__gte=1), name="reservation_has_pieces"),
            models.UniqueConstraint(
                fields=["part", "subject"],
                # Only open promises are unique: one that was released may be made again for the
                # same story.
                condition=Q(state="open"),
                name="one_open_reservation_per_subject",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pieces} x {self.part_id} for {self.subject}"

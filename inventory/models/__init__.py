"""Tables of the ledger room."""

from __future__ import annotations

from inventory.models.cards import CardLine, RecipeCard
from inventory.models.changes import Change, Kept
from inventory.models.events import Event
from inventory.models.goods import (
    GiverClass,
    GoodsKind,
    Load,
    LoadEntry,
    Stream,
    Way,
    Went,
)
from inventory.models.grinding import GrindRun
from inventory.models.ledger import Balance, Counter, Movement, Posting
from inventory.models.materials import (
    Admission,
    BlendShare,
    ClassPrice,
    Colour,
    FormerRecipe,
    Lot,
    Origin,
    Polymer,
)
from inventory.models.months import (
    AccountNumber,
    JournalExport,
    Month,
    MonthBalance,
    ReportFile,
)
from inventory.models.outbox import OutboxMessage
from inventory.models.passwords import GivenPassword
from inventory.models.places import Part, Place, PlaceKind, Reservation, Side, Unit
from inventory.models.sessions import OpenSession, RecoverySheet, SignIn
from inventory.models.spoiled import SpoilCause, Spoiled, Step
from inventory.models.tokens import AccessToken, RequestKey
from inventory.models.weighing import Reading, Scale
from inventory.models.workshop import Workshop, WorkshopLogo, WriteDown

__all__ = [
    "AccessToken",
    "AccountNumber",
    "Admission",
    "Balance",
    "BlendShare",
    "CardLine",
    "Change",
    "ClassPrice",
    "Colour",
    "Counter",
    "Event",
    "FormerRecipe",
    "GivenPassword",
    "GiverClass",
    "GoodsKind",
    "GrindRun",
    "JournalExport",
    "Kept",
    "Load",
    "LoadEntry",
    "Lot",
    "Month",
    "MonthBalance",
    "Movement",
    "OpenSession",
    "Origin",
    "OutboxMessage",
    "Part",
    "Place",
    "PlaceKind",
    "Polymer",
    "Posting",
    "Reading",
    "RecipeCard",
    "RecoverySheet",
    "ReportFile",
    "RequestKey",
    "Reservation",
    "Scale",
    "Side",
    "SignIn",
    "SpoilCause",
    "Spoiled",
    "Step",
    "Stream",
    "Unit",
    "Way",
    "Went",
    "Workshop",
    "WorkshopLogo",
    "WriteDown",
]

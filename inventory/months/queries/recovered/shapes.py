"""The shapes of the recovered-material report: frozen, and in whole milligrams, pieces and cents.

A flow is positive where it adds to its place and negative where it takes away, so that opening
plus all flows is closing, in every row and in every total.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from inventory.months.queries.entries import Entry
from inventory.weighing.sums.traced import MassUncertainty


@dataclass(frozen=True, slots=True)
class Cell:
    """One figure, with the numbers of the movements that make it up, in order."""

    quantity: int = 0
    movements: tuple[int, ...] = ()

    @classmethod
    def total(cls, cells: Iterable[Cell]) -> Cell:
        """Return the sum of several figures; a movement that is in two of them is named once."""
        listed = list(cells)
        numbers = {number for cell in listed for number in cell.movements}
        return cls(sum(cell.quantity for cell in listed), tuple(sorted(numbers)))


NOTHING = Cell()


@dataclass(frozen=True, slots=True)
class Flows:
    """Opening, flows by column, and closing of one place, one part, or a total of several.

    `known` says by column how well each mass is known, opening and closing among them; a mass that
    is not in it is known without doubt.
    """

    opening: int
    cells: Mapping[str, Cell]
    closing: int
    known: Mapping[str, MassUncertainty]

    def cell(self, column: str) -> Cell:
        """Return the figure of a column; nothing where there was no entry."""
        return self.cells.get(column, NOTHING)

    def known_of(self, column: str) -> MassUncertainty:
        """Return the uncertainty of the mass in a column."""
        return self.known.get(column, MassUncertainty())

    @property
    def change(self) -> int:
        """What the flows add up to."""
        return sum(cell.quantity for cell in self.cells.values())

    @property
    def gap(self) -> int:
        """What opening and flows miss closing by. Anything but zero is an error in the books."""
        return self.opening + self.change - self.closing

    @classmethod
    def total(cls, listed: Collection[Flows], known: Mapping[str, MassUncertainty]) -> Flows:
        """Return the sum of several rows by column; `known` has the sums' uncertainties."""
        columns = sorted({column for row in listed for column in row.cells})
        cells = {column: Cell.total(row.cell(column) for row in listed) for column in columns}
        return cls(sum(r.opening for r in listed), cells, sum(r.closing for r in listed), known)


@dataclass(frozen=True, slots=True, order=True)
class Class:
    """A class of material: what is never mixed in a figure. All three are codes."""

    polymer: str
    colour: str
    origin: str

    def __str__(self) -> str:
        return f"{self.polymer}/{self.colour}/{self.origin}"


@dataclass(frozen=True, slots=True)
class MaterialRow:
    """A regrind box or a flake lot in the month, in milligrams."""

    place: str
    kind: str
    name: str
    material: Class
    flows: Flows


@dataclass(frozen=True, slots=True)
class ShelfRow:
    """Any other place in the house, or the boundary, in milligrams."""

    place: str
    kind: str
    flows: Flows


@dataclass(frozen=True, slots=True)
class PartRow:
    """One spare part, in pieces."""

    place: str
    part: str
    name: str
    flows: Flows


@dataclass(frozen=True, slots=True)
class BeyondRow:
    """A row of goods, of outgoing streams or of scrap: its section and the codes that name it.

    Its flows have neither opening nor closing; `spoiled_pairs` is in pieces, all else in mg.
    """

    section: str
    codes: tuple[str, ...]
    flows: Flows

    @property
    def key(self) -> str:
        """Name the row in an address and among the figures."""
        return ".".join((self.section, *(code for code in self.codes if code)))


@dataclass(frozen=True, slots=True)
class Frames:
    """Frames counted from the movements under their tags; `held` as the month ended."""

    received: Cell
    mended: Cell
    unmended: Cell
    reground: Cell
    discarded: Cell
    held: Cell


@dataclass(frozen=True, slots=True)
class Trust:
    """How well the credited mass is known: expanded uncertainty with k = 2, in micrograms.

    `flags` is (scale, flag, readings) of the readings behind the credited mass.
    """

    credited_mg: int
    weighed_mg: int
    readings: int
    unweighed_postings: int
    expanded_ug: int
    flags: tuple[tuple[str, str, int], ...]


@dataclass(frozen=True, slots=True)
class Late:
    """A movement of this month that belongs to one closed before it came in.

    `known` says how well its milligrams, all lines together, are known.
    """

    number: int
    kind: str
    subject: str
    happened_on: str
    belongs_to: str
    mass_mg: int
    pieces: int
    reverses: int | None
    known: MassUncertainty


@dataclass(frozen=True, slots=True)
class Correction:
    """A movement that puts an earlier month right: it is booked in one month and corrects another.

    `reverses` is the number of what it takes back, None for a fact that came in late. Masses and
    pieces are those of all its lines; `cost_minor` is signed. `actor` is the id of who did it.
    """

    number: int
    kind: str
    subject: str
    booked_in: str
    corrects: str
    happened_on: str
    reverses: int | None
    mass_mg: int
    pieces: int
    cost_minor: int
    reason: str
    actor: int | None


@dataclass(frozen=True, slots=True)
class Worth:
    """What one class is worth: masses in milligrams, money in minor units.

    Of the cost received, some was paid for bought material, some for taking returns apart, some
    for grinding. Normal loss bears no cost of its own. `realisable_minor` is None where no selling
    price is known, so that cost alone counts. `known` says by mass ("opening_mg") how well it is.
    """

    material: Class
    opening_mg: int
    opening_minor: int
    received_mg: int
    received_minor: int
    bought_minor: int
    recovered_minor: int
    converted_minor: int
    issued_mg: int
    issued_minor: int
    normal_loss_mg: int
    written_off_mg: int
    written_off_minor: int
    closing_mg: int
    cost_minor: int
    realisable_minor: int | None
    allowance_before_minor: int
    allowance_minor: int
    known: Mapping[str, MassUncertainty]

    @property
    def carried_minor(self) -> int:
        """Lower of cost and net realisable value."""
        return self.cost_minor - self.allowance_minor


@dataclass(frozen=True, slots=True)
class Entered:
    """One line of the proposed journal: exactly one of debit and credit is above zero."""

    material: Class
    account: str
    debit_minor: int
    credit_minor: int
    text_key: str


@dataclass(frozen=True, slots=True)
class PartWorth:
    """What one spare part is worth: pieces, and money in minor units.

    `found` came in at no cost (salvaged, or over in a count), or is missing when below zero.
    `taken_on_minor` is the worth at the opening that the books had not had until this month.
    """

    part: str
    opening: int
    opening_minor: int
    received: int
    received_minor: int
    found: int
    mends: int
    mends_minor: int
    kits: int
    kits_minor: int
    missing_minor: int
    closing: int
    cost_minor: int
    taken_on_minor: int


@dataclass(frozen=True, slots=True)
class PartEntered:
    """One line of the proposed journal that is of a spare part."""

    part: str
    account: str
    debit_minor: int
    credit_minor: int
    text_key: str


@dataclass(frozen=True, slots=True)
class WriteDownPolicy:
    """When stock is written down below cost, by the owner's choice, and why."""

    rule: str
    reason: str


JOURNAL_ORDER = (
    "material_received",
    "material_bought",
    "material_recovered",
    "material_converted",
    "material_otherwise",
    "material_issued",
    "abnormal_loss_expensed",
    "normal_loss_took_all",
    "written_down",
    "write_down_reversed",
    "allowance_left_with_material",
    "parts_taken_on",
    "parts_received",
    "parts_fitted",
    "parts_posted",
    "parts_missing",
)


@dataclass(frozen=True, slots=True)
class Posted:
    """One posting of the month, and how well its mass is known; None for pieces."""

    entry: Entry
    known: MassUncertainty | None


@dataclass(frozen=True, slots=True)
class Report:
    """The figures of one month. Nothing here depends on whether the month is closed yet.

    Masses are whole milligrams, money minor units of `currency`; each mass has beside it how well
    it is known. `total`, `classes` and `origins` are sums of `material`. `settled` are places
    without a row, for nothing is there and nothing moved, though what once moved is in doubt.
    `flags` is (scale, flag, readings) of all readings that were booked in the month. `beyond` has
    goods, outgoing streams and scrap by cause, from edition 2 on. `corrections` are the reversals
    of what an earlier month had booked; among the figures of the digest from edition 3 on, as are
    the policy of write-downs and the worth of parts, which a month of an earlier edition has not.
    """

    label: str
    currency: str
    workshop: str
    address: str
    zone: str
    edition: int
    names: Mapping[str, Mapping[str, str]]
    material: tuple[MaterialRow, ...]
    shelves: tuple[ShelfRow, ...]
    parts: tuple[PartRow, ...]
    settled: Mapping[str, Mapping[str, MassUncertainty]]
    total: Flows
    classes: tuple[tuple[Class, Flows], ...]
    origins: tuple[tuple[str, Flows], ...]
    frames: Frames
    trust: Trust
    worth: tuple[Worth, ...]
    journal: tuple[Entered, ...]
    unvalued: tuple[str, ...]
    late: tuple[Late, ...]
    corrections: tuple[Correction, ...]
    movements: int
    flags: tuple[tuple[str, str, int], ...]
    postings: tuple[Posted, ...]
    beyond: tuple[BeyondRow, ...]
    write_down: WriteDownPolicy | None
    parts_worth: tuple[PartWorth, ...]
    parts_journal: tuple[PartEntered, ...]

    def of(self, material: Class) -> Flows:
        """Return the subtotal of one class; nothing for one without a row."""
        return dict(self.classes).get(material, Flows(0, {}, 0, {}))

    def known_of(self, row: str, column: str) -> MassUncertainty:
        """Return the uncertainty of a mass by the code of its place, or "total", and its column."""
        beyond = {one.key: one.flows for one in self.beyond}
        flows = self.total if row == "total" else dict(self.rows).get(row) or beyond.get(row)
        return flows.known_of(column) if flows else MassUncertainty()

    @property
    def rows(self) -> tuple[tuple[str, Flows], ...]:
        """Every row with its place's code: boxes and lots, other places, part bins."""
        return (
            *((row.place, row.flows) for row in self.material),
            *((row.place, row.flows) for row in self.shelves),
            *((row.place, row.flows) for row in self.parts),
        )

    @property
    def gaps(self) -> tuple[str, ...]:
        """Codes of the rows that do not tie out; empty in sound books."""
        return tuple(place for place, flows in self.rows if flows.gap)

    @property
    def journal_summed(self) -> tuple[tuple[str, str, int, int], ...]:
        """The journal summed: text key, account, debit and credit, in its order."""
        sums: dict[tuple[str, str], tuple[int, int]] = {}
        lines: list[Entered | PartEntered] = [*self.journal, *self.parts_journal]
        for line in lines:
            debit, credit = sums.get((line.text_key, line.account), (0, 0))
            sums[line.text_key, line.account] = (
                debit + line.debit_minor,
                credit + line.credit_minor,
            )
        ordered = sorted(sums.items(), key=lambda item: JOURNAL_ORDER.index(item[0][0]))
        return tuple((*key, *sides) for key, sides in ordered)

    @property
    def worth_steps(self) -> tuple[tuple[str, int], ...]:
        """From the opening worth to the closing one, all classes together, in minor units.

        Everything up to "cost" adds up to it; cost and what follows add up to "carried".
        """
        rows = self.worth
        left = sum(
            line.debit_minor
            for line in self.journal
            if line.text_key == "allowance_left_with_material"
        )
        before = sum(row.allowance_before_minor for row in rows)
        allowance = sum(row.allowance_minor for row in rows)
        # Whatever cost came in under no name of its own is the rest, so that the steps always add
        # up.
        named = sum(row.bought_minor + row.recovered_minor + row.converted_minor for row in rows)
        return (
            ("opening", sum(row.opening_minor for row in rows)),
            ("bought", sum(row.bought_minor for row in rows)),
            ("recovered", sum(row.recovered_minor for row in rows)),
            ("converted", sum(row.converted_minor for row in rows)),
            ("otherwise", sum(row.received_minor for row in rows) - named),
            ("issued", -sum(row.issued_minor for row in rows)),
            ("written_off", -sum(row.written_off_minor for row in rows)),
            ("cost", sum(row.cost_minor for row in rows)),
            ("allowance_before", -before),
            ("allowance_left", left),
            ("written_down", before - left - allowance),
            ("carried", self.carried_minor),
        )

    @property
    def parts_minor(self) -> int:
        """What the spare parts in the bins cost."""
        return sum(row.cost_minor for row in self.parts_worth)

    @property
    def carried_minor(self) -> int:
        """What material is carried at; spare parts are not in it."""
        return sum(worth.carried_minor for worth in self.worth)

"""How the figures of the ledger room are made: weighing, material, worth, months."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from returns.figures.method.entries import Entry, Source, Tag

GRAMS = (
    Entry(
        key="typed-masses",
        title=_("Masses as typed"),
        answers=_("What mass did the person at the scale mean?"),
        formula=_(
            "Every way to read comma and point is listed; readings that the scale could not show "
            "are dropped. One left: it is taken. Several left: we ask back."
        ),
        sources=(Source(_("Exact decimal arithmetic; ambiguous input is refused"), Tag.OWN),),
        shown=_("At every field for a mass."),
        limits=_("A wrong figure that the scale could have shown is not noticed here."),
        modules=("inventory.weighing.sums.masses",),
    ),
    Entry(
        key="goods-yield",
        title=_("What a load of used goods yields"),
        answers=_(
            "Which share of a load is usable, which is taken out, and what will the next give?"
        ),
        formula=_(
            "Share = mass of the part / gross mass, of all loads of a kind together; beside it the "
            "lowest and the highest load. From three loads on the next one is expected within "
            "mean ± t · s · √(1 + 1 / n), cut to 0 and 100 %."
        ),
        sources=(
            Source(
                "Montgomery & Runger, Applied Statistics and Probability for Engineers, "
                "3rd ed. 2003, 8-6, eq. 8-29",
                Tag.SECOND_HAND,
            ),
            Source(_("Three loads at least; loads count alike, whatever their size"), Tag.OWN),
        ),
        shown=_("On the page of used goods."),
        limits=_("A kind of goods that changes with its giver is wider than the range says."),
        modules=("inventory.goods.sums",),
    ),
    Entry(
        key="spoiled-pairs",
        title=_("Yield of the steps, and spoiled pairs"),
        answers=_("Which share comes good out of every step, and is a batch unlike the others?"),
        formula=_(
            "Rolled throughput yield = product of good / entered over the steps. Limits of a "
            "batch's share: p ± 3 √(p (1 − p) / n), p of all batches, n of its own."
        ),
        sources=(
            Source(
                "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2 (p chart)", Tag.MEMORY
            ),
            Source(_("Five batches at least before limits are drawn"), Tag.OWN),
            Source(_("Under five expected pairs the limits are called rough"), Tag.PRACTICE),
        ),
        shown=_("On the page of yield and causes."),
        limits=_("A pair counts at the step that booked it, even if an earlier one spoiled it."),
        modules=("returns.spoiling.sums",),
    ),
    Entry(
        key="recipe-shares",
        title=_("Shares of a weighed blend"),
        answers=_("Did the blend at the press keep to its recipe?"),
        formula=_(
            "Share of a colour = its mass / the mass of all that was weighed; kept when it is no "
            "further from the recipe than its tolerance. Compared in whole numbers, unrounded."
        ),
        sources=(Source(_("Masses as weighed; the tolerance is the owner's"), Tag.OWN),),
        shown=_("On the recipe card at the press."),
        limits=_("It says what went in, not how evenly the melt mixed."),
        modules=("inventory.material.sums.recipe_shares",),
    ),
    Entry(
        key="weighing",
        title=_("Weighing uncertainty"),
        answers=_("How far may a weighed mass, or a sum of them, be off?"),
        formula=_(
            "u² = step² / 6 + repeatability² + place on the pan² + calibration² + drift². The "
            "first three add as squares in a sum. Calibration, an uncorrected error and drift are "
            "one for all readings of a scale and add with their signs; an error that nobody "
            "measured load by load is one for loads of the same power of two, and half of it for "
            "all. Shown: ± 2 u."
        ),
        sources=(
            Source(
                "Directive 2014/31/EU, table of errors, as in UK SI 1995/1907, Sch. 2", Tag.READ
            ),
            Source(
                "EURAMET Calibration Guide 18, 4.0, 2015, by an open implementation of it",
                Tag.SECOND_HAND,
            ),
            Source("JCGM 100:2008 (GUM), 4.3.7, 5.2.2, F.2.2.1, G.4.1", Tag.MEMORY),
            Source(
                _(
                    "Repeatability that no check told: the most that the class allows (French "
                    "order of 24 March 1972, article 10)"
                ),
                Tag.READ,
            ),
            Source(
                _("Place on the pan and drift that no check told: OIML R 76 limits"), Tag.MEMORY
            ),
            Source(
                _("How much of an unmeasured error loads of unlike size have in common"), Tag.OWN
            ),
        ),
        shown=_("Month report, circularity figures, reconciliation."),
        limits=_(
            "Drafts, dirt and a scale that was moved are not in it. Masses are as scales show them "
            "in air: a gram of polypropylene is truly 1.18 mg more, on both sides of every balance."
        ),
        modules=("inventory.weighing.sums.weighing", "inventory.weighing.sums.certificates"),
    ),
    Entry(
        key="traced-masses",
        title=_("Where a booked mass comes from"),
        answers=_("Which weighings stand behind a mass in the books, and how well is it known?"),
        formula=_(
            "Each mass is kept as a sum and difference of readings. A reading on both sides "
            "cancels; a scale's common error within one calibration period adds with its sign; "
            "own parts add as squares. U = 2 u, rounded up."
        ),
        sources=(
            Source("JCGM 100:2008 (GUM), 5.2.2 note 1 and F.1.2.3", Tag.MEMORY),
            Source(_("In which order a mass is traced to its readings"), Tag.OWN),
        ),
        shown=_("Frames, boxes, lots and the month report."),
        limits=_("Mass that nobody weighed is counted apart and has no uncertainty of its own."),
        modules=("inventory.weighing.sums.traced",),
    ),
    Entry(
        key="reconciliation",
        title=_("Reconciliation of a month"),
        answers=_("Do the weighings agree within what the scales can tell, and which does not?"),
        formula=_(
            "Where a mass was weighed twice, in = out must hold. Readings are moved as little as "
            "possible, by their covariance V: minimise aᵀ V⁻¹ a. That sum is held against "
            "chi-square at 5 %; each weighing's z against a limit for all of them. Least leak "
            "seen: where the noncentral chi-square passes the limit nine times of ten."
        ),
        sources=(
            Source(
                "Narasimhan & Jordache, Data Reconciliation and Gross Error Detection, 2000, "
                "by a public benchmark set (read)",
                Tag.SECOND_HAND,
            ),
            Source("Tamhane & Mah, Technometrics 27 (1985) 409-422, z of one flow", Tag.MEMORY),
            Source(
                _(
                    "Which movements close a balance; months with readings of the first edition "
                    "keep the test of that time"
                ),
                Tag.OWN,
            ),
        ),
        shown=_("Month page; readings themselves are never changed."),
        limits=_(
            "Only what was weighed twice is checked. Equal z cannot be told apart. Plastic left "
            "in the mill looks like a wrong reading."
        ),
        modules=("inventory.weighing.sums.reconciliation", "inventory.weighing.sums.networks"),
    ),
    Entry(
        key="heat-passes",
        title=_("Heat passes"),
        answers=_("How often has this material been melted?"),
        formula=_(
            "Each lot carries the share of its mass at each number of passes. Mixing adds by "
            "mass; moulding adds one; grinding adds none."
        ),
        sources=(
            Source(_("A box counts as evenly mixed; pellets as bought count as 0"), Tag.OWN),
            Source("European paper recycling reports for 2011 and 2012, uses by rate", Tag.READ),
        ),
        shown=_("Boxes, lots, batches, frames."),
        limits=_("Compounding may have melted bought pellets once or twice before."),
        modules=("inventory.material.sums.heat", "inventory.material.sums.box_heat"),
    ),
    Entry(
        key="melt-flow",
        title=_("Melt flow of a blend"),
        answers=_("How easily will a blend flow in the mould?"),
        formula=_("ln(flow of blend) = Σ mass share · ln(flow of part)."),
        sources=(
            Source("Nielsen, Polymer Rheology, 1977, by two public pages", Tag.SECOND_HAND),
            Source("rotoun.com, melt index of blends: fails beyond a ratio of 3.28", Tag.READ),
        ),
        shown=_("Blends and lots."),
        limits=_("An estimate for like polymers. Weigh and mould a trial before a series."),
        modules=("inventory.material.sums.melt_flow",),
    ),
    Entry(
        key="blending",
        title=_("Blending of lots"),
        answers=_("Which lots, and how much of each, make a recipe within its limits?"),
        formula=_(
            "Least cost Σ cost · mass under linear limits on origin, passes and melt flow, oldest "
            "material first; whole milligrams."
        ),
        sources=(
            Source("Optimization Algorithms (Manning), a blending example", Tag.READ),
            Source(_("Oldest first, and which limit to name when none fits"), Tag.OWN),
        ),
        shown=_("Blends."),
        limits=_("Colour and smell are not reckoned; look and smell first."),
        modules=(
            "inventory.material.sums.blending",
            "inventory.material.sums.mixing",
            "inventory.ledger.sums.shares",
        ),
    ),
    Entry(
        key="valuation",
        title=_("Worth of the material"),
        answers=_("At what amount does recovered material stand in the books?"),
        formula=_(
            "average = (opening cost + cost brought in) / (opening mass + mass in); carried at the "
            "lower of that cost and price less cost to complete and sell."
        ),
        sources=(
            Source(
                "IAS 2 Inventories: weighted average, lower of cost and net realisable value",
                Tag.SECOND_HAND,
            ),
            Source("Edwards & Hermanson, Accounting Principles, exhibits 53 to 55", Tag.READ),
            Source(_("Which costs belong to reclaimed material"), Tag.OWN),
        ),
        shown=_("Month report."),
        limits=_("Your accountant and local law decide how returned material is valued."),
        modules=("inventory.months.sums.valuation",),
    ),
    Entry(
        key="month-report",
        title=_("Month report"),
        answers=_("What came in, went out and is left, to the milligram?"),
        formula=_(
            "opening + in − out = closing, for every box and lot. A closed month is sealed by a "
            "SHA-256 digest over its postings and the digest before."
        ),
        sources=(
            Source(_("Every movement goes from one place to another, so nothing is lost"), Tag.OWN),
            Source("NIST FIPS 180-4, Secure Hash Standard, 2015", Tag.MEMORY),
        ),
        shown=_("Months and their files."),
        limits=_("It is exact about the books; how exact the scales are stands beside it."),
        modules=("inventory.ledger.sums.recipes", "inventory.months.sums.calendar_month"),
    ),
    Entry(
        key="codes",
        title=_("Codes and links"),
        answers=_("Is this the code on the tag, or a slip of the pen?"),
        formula=_(
            "Seven random characters and one check character. Every single wrong character is "
            "caught; of swapped neighbours all but 0.36 %."
        ),
        sources=(
            Source("ISO/IEC 7064, hybrid system MOD N+1,N", Tag.MEMORY),
            Source(_("Alphabet without characters that look alike"), Tag.OWN),
        ),
        shown=_("Tags, parcels, lots, runs, requests."),
        limits=_("A code is no secret. Only the private link opens a customer's story."),
        modules=("inventory.ledger.sums.codes", "returns.story.sums.codes"),
    ),
)

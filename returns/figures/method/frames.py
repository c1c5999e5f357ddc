"""How the figures of the people-and-frames room are made: mending, claims, lifetimes."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from returns.figures.method.entries import Entry, Source, Tag

FRAMES = (
    Entry(
        key="mass-fit",
        title=_("Mass fit of a returned frame"),
        answers=_(
            "Is the frame whole, which parts are missing, too many or exchanged, or is something "
            "foreign?"
        ),
        formula=_(
            "Explanations: whole; any one to three pieces missing; any one or two pieces too many; "
            "one missing and another one too many; one exchanged for that of another model; "
            "something foreign, with nothing or one piece missing; unexplained. Likelihood of the "
            "reading under each, normal with variance of scale and parts; times a prior; divided "
            "by their sum (Bayes' rule)."
        ),
        sources=(
            Source(_("Normal masses, independent parts, the priors and the ratio asked"), Tag.OWN),
        ),
        shown=_("Look-over of a frame."),
        limits=_("A hint only: mass alone proves nothing, the bench hand decides."),
        modules=("returns.arriving.sums.mass_hypotheses", "returns.arriving.sums.massfit"),
    ),
    Entry(
        key="plausible-mass",
        title=_("Mass that is asked back"),
        answers=_("Can this frame weigh so much, or did a finger slip?"),
        formula=_(
            "Asked back unless |reading − expected| ≤ limit + 3 · spread for the whole frame, or "
            "for one with up to three pieces missing. Likely: the reading with its sign moved by "
            "up to three places or two neighbouring digits swapped, nearest to the whole frame."
        ),
        sources=(Source(_("The limit of strip-down and weigh-out; three spreads"), Tag.OWN),),
        shown=_("Weigh-in of a frame."),
        limits=_("A second weighing or a reason is enough; nothing is refused for good."),
        modules=("returns.arriving.sums.plausible",),
    ),
    Entry(
        key="grading",
        title=_("Grading: mend or make anew"),
        answers=_("Shall this frame be mended or ground?"),
        formula=_(
            "expected cost = minutes · wage + parts + (1 − odds) · cost of failing. Limits first; "
            "then mended if the cost is within the ceiling; ground only if the customer said so. "
            "Each number is then moved alone, from nothing to four times its value, until the "
            "same comparison gives another answer."
        ),
        sources=(
            Source(_("Glue does not hold at a pivot; wall needed beside a screw"), Tag.PRACTICE),
            Source(_("Ceiling, number of mends and every other limit: set by the owner"), Tag.OWN),
        ),
        shown=_("Frame page, with its sums and reasons."),
        limits=_("The customer's wish and a second person stand before any grinding."),
        modules=(
            "returns.grading.sums",
            "returns.grading.sums.allowed",
            "returns.grading.sums.costs",
            "returns.grading.sums.decision",
            "returns.grading.sums.facts",
            "returns.grading.sums.new_frame",
            "returns.grading.sums.plans",
            "returns.grading.sums.sensitivity",
            "returns.story.sums.states",
        ),
    ),
    Entry(
        key="screw-step-up",
        title=_("Screw step-up"),
        answers=_("Can a worn screw hole take the next size?"),
        formula=_("wall left = wall − (next diameter − diameter) / 2 ≥ ratio · next diameter."),
        sources=(
            Source("ISO 11381:2016, sizes, as listed by a standards shop", Tag.READ),
            Source(_("Half a diameter of plastic beside the hole"), Tag.PRACTICE),
        ),
        shown=_("Grading and mending."),
        limits=_("Only the very next stocked size is looked at."),
        modules=("returns.mending.sums",),
    ),
    Entry(
        key="learning",
        title=_("What our remedies really do"),
        answers=_("How often does a remedy work, and how long does it take?"),
        formula=_(
            "mean odds = (prior cases that worked + own successes) / (prior cases + own cases); "
            "minutes alike with a Gamma spread."
        ),
        sources=(
            Source(_("Weight of the typed figure; minutes spread by half their mean"), Tag.OWN),
            Source(_("Beta and Gamma estimates, textbook conjugate pairs"), Tag.MEMORY),
            Source(
                _(
                    "Failures that nobody can place are shared by expectation-maximisation: "
                    "Dempster, Laird and Rubin 1977"
                ),
                Tag.MEMORY,
            ),
        ),
        shown=_("Remedies; gradings use it."),
        limits=_("A remedy that is no longer chosen teaches nothing more."),
        modules=("returns.grading.sums.evidence", "returns.grading.sums.blame"),
    ),
    Entry(
        key="after-failed-check",
        title=_("After a failed check"),
        answers=_("Go on mending, by which remedy first, or give up?"),
        formula=_(
            "cost of a fix = minutes · wage + parts + odds that all holds then · postage + (1 − "
            "those odds) · what comes after. What comes after mends the likeliest failure first, "
            "by the remedy cheapest for each success, until giving up is cheaper. Odds that a "
            "place holds follow by Bayes' rule from the failed check."
        ),
        sources=(
            Source(_("Likeliest failure first; each thing twice more at most"), Tag.OWN),
            Source(_("Compared with dynamic programming: at most 1 % dearer"), Tag.OWN),
        ),
        shown=_("Mending page, after a check that failed."),
        limits=_("A later failure is priced as one that nobody can place."),
        modules=("returns.grading.sums.fallback",),
    ),
    Entry(
        key="salvage",
        title=_("Salvage matching"),
        answers=_("Which good part goes to which frame?"),
        formula=_(
            "Most frames completed first; among those, least cost (integer programme). Played "
            "again for the year past: each day knows only what waited on it."
        ),
        sources=(
            Source("OR-Tools guide, Linear Sum Assignment Solver", Tag.MEMORY),
            Source(_("Frames before cost"), Tag.OWN),
        ),
        shown=_("Salvage page."),
        limits=_("Fit and wear of a part are judged by hand."),
        modules=("returns.salvage.sums.matching", "returns.salvage.sums.replay"),
    ),
    Entry(
        key="circularity",
        title=_("Circularity indicators"),
        answers=_("How much of the mass goes round, and what is lost where?"),
        formula=_(
            "LFI = (V + W) / (2M + (W_F − W_C) / 2); indicator = max(0, 1 − LFI · 0.9 / X). "
            "X = mean life / the life the trade expects. Inflow and outflow shares by mass. "
            "Mean lives L = Σ m·a / Σ m·p; u² = Σ ((a − L·p)·u(m) / M)² + Σ (c·u(lot))²."
        ),
        sources=(
            Source(
                "Ellen MacArthur Foundation & Granta Design, Circularity Indicators: "
                "Methodology, 2015 and 2019",
                Tag.SECOND_HAND,
            ),
            Source("ISO 59020:2024, Annex A, names and clauses", Tag.SECOND_HAND),
            Source("ISO 59020:2024, Annex A, formulas other than A.3.3", Tag.MEMORY),
            Source(
                "JCGM 101:2008, propagation of distributions by simulation, for the range",
                Tag.MEMORY,
            ),
            Source(
                _("Triangles over the limits of collection, yield and mean life; the seed"), Tag.OWN
            ),
            Source(
                _("Dirichlet draws of the frames' fates, a half added to each count (Jeffreys)"),
                Tag.MEMORY,
            ),
            Source("JCGM 100:2008, 5.1.2, for the mean number of lives", Tag.MEMORY),
        ),
        shown=_("Owner's page."),
        limits=_(
            "The life is measured once half of a model's frames came back, and taken as the "
            "trade's before; a first return ends it, though a mended frame goes on. The range of "
            "the outflow covers weighings, yield and the count of frames; that of the inflow, "
            "weighings; that of the lives, masses and unknown batches. None covers what a supplier "
            "says of a feedstock, nor whether a posted frame is worn again."
        ),
        modules=(
            "returns.figures.circularity.sums.circularity",
            "returns.figures.circularity.sums.indicator_spread",
            "returns.figures.circularity.sums.outflow_spread",
            "returns.figures.circularity.sums.mean_lives",
        ),
    ),
    Entry(
        key="part-in-batch",
        title=_("What a ground frame became"),
        answers=_("How much of my frame is in which batch?"),
        formula=_(
            "mass in a batch = frame / all ground with it · what the batch took of that lot; "
            "share = that mass / the batch's mass."
        ),
        sources=(
            Source("ISO 22095:2020, chain of custody, mass balance", Tag.SECOND_HAND),
            Source(_("Even mixing in the granulator; losses borne by all frames alike"), Tag.OWN),
        ),
        shown=_("The customer's story, once a frame was ground."),
        limits=_("A share by mass, not a trace of particles: no piece can be followed."),
        modules=("returns.regrind.sums",),
    ),
    Entry(
        key="recovery-yield",
        title=_("Recovery yield and losses"),
        answers=_("How much of what is ground comes out as flake, and what is lost?"),
        formula=_(
            "yield = flake / mass taken from the boxes of returns; its error is (error of flake − "
            "yield · error of boxes) / boxes, in which what one scale does to both largely "
            "cancels; k = 2. Each loss is its own mass over what went in."
        ),
        sources=(Source("JCGM 100:2008 (GUM), 5.1.2 and 5.2.2", Tag.MEMORY),),
        shown=_("Owner's page, claims."),
        limits=_("Boxes mix all models, so one model has no yield of its own."),
        modules=("returns.figures.circularity.sums.mass_shares",),
    ),
    Entry(
        key="recycled-content",
        title=_("Recycled content"),
        answers=_("What share of the plastic in our frames is recycled?"),
        formula=_(
            "100 · recycled mass / all mass. Own scrap is left out on both sides. Range from the "
            "weighings: u = √(((1 − s) u of part)² + (s · u of rest)²) / whole, k = 2."
        ),
        sources=(
            Source("ISO 14021:2016, 7.8", Tag.MEMORY),
            Source("EN 45557:2020: unknown counts as primary", Tag.SECOND_HAND),
            Source("JCGM 100:2008 (GUM), 5.1.2 and 5.2.2", Tag.MEMORY),
        ),
        shown=_("Owner's page, claims, batches."),
        limits=_("Pigment and additives count as virgin."),
        modules=(
            "returns.figures.circularity.sums.recycled_content",
            "returns.figures.circularity.sums.mass_shares",
        ),
    ),
    Entry(
        key="take-back",
        title=_("Take-back and repair shares"),
        answers=_("What share of the frames sold came back, and of those, was mended?"),
        formula=_(
            "share = count / units, with a 95 % score interval or an exact one. A promise counts "
            "as kept when the frame was posted, or taken apart into its box, on the promised day "
            "at latest; grinding, which waits for a full box, and lenses posted afterwards do "
            "not count."
        ),
        sources=(
            Source(
                "Newcombe, Two-sided confidence intervals for the single proportion, 1998",
                Tag.MEMORY,
            ),
            Source(_("From how many units on a share is shown at all"), Tag.OWN),
        ),
        shown=_("Owner's page, claims."),
        limits=_("Recently sold frames have had little time to come back."),
        modules=("returns.figures.circularity.sums.circularity",),
    ),
    Entry(
        key="audits",
        title=_("Audits by sample"),
        answers=_("How many pieces of a lot must be weighed or graded again?"),
        formula=_(
            "Sample size and the number of bad ones allowed, by lot size and quality limit; the "
            "chance to pass is the chance of at most that many bad ones."
        ),
        sources=(
            Source("ISO 2859-1, Table 1, and MIL-STD-105E, by public pages", Tag.SECOND_HAND),
            Source("Birolini, Reliability Engineering, 7.1.3", Tag.READ),
        ),
        shown=_("Weigh-in audits."),
        limits=_(
            "A sample of few pieces seldom tells good from nearly good. Two weighings differ "
            "beyond three standard deviations of their difference: our own choice."
        ),
        modules=("returns.auditing.sums",),
    ),
    Entry(
        key="runs",
        title=_("Yield of grind runs"),
        answers=_("Did a grind run yield less than chance explains?"),
        formula=_(
            "flake / mass from the box; limits = mean ± 3 · mean difference of neighbours / 1.128, "
            "cut to 0 and 100 %."
        ),
        sources=(
            Source(
                "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, individuals chart",
                Tag.MEMORY,
            ),
            Source(_("Five runs at least"), Tag.OWN),
        ),
        shown=_("Owner's page."),
        limits=_("The limits come from the same runs that they judge; few runs give wide ones."),
        modules=("returns.figures.circularity.sums.run_chart",),
    ),
    Entry(
        key="lifetimes",
        title=_("Lifetimes"),
        answers=_("How long do frames and screws last?"),
        formula=_(
            "Product-limit curve S(t) = Π (1 − failed / at risk); Weibull fit by maximum "
            "likelihood, frames still in use counted as such. A return known by its month adds "
            "ln(S(a) − S(b)), a and b being the ages at the ends of that month, from the middle of "
            "the month of sale. For one cause alone, frames that another cause brought back count "
            "as still in use up to then."
        ),
        sources=(
            Source("NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3", Tag.READ),
            Source("Freireich et al. 1963, in Introductory Biostatistics, ex. 11.1", Tag.READ),
            Source("Brookmeyer & Crowley 1982, limits of the median", Tag.MEMORY),
            Source("Marubini & Valsecchi 1995, variance by the delta method", Tag.MEMORY),
            Source(
                "Meeker & Escobar 1998, chapters 8 and 15, read-out data, a fit for each cause",
                Tag.MEMORY,
            ),
            Source(_("Five failures at least"), Tag.OWN),
        ),
        shown=_("Lifetimes page."),
        limits=_("A frame that broke and was thrown away is never seen."),
        modules=(
            "returns.figures.lifetimes.sums.lifetimes",
            "returns.figures.lifetimes.sums.weibull",
        ),
    ),
    Entry(
        key="forecasts",
        title=_("Forecasts"),
        answers=_("What will come back in the coming months?"),
        formula=_(
            "Σ over cohorts, those of sales to come among them: units out · hazard at their age · "
            "factor of the month of the year (from two years on, drawn towards 1 by what chance "
            "explains) · level. The level wanders about 1 and is followed through past misses by "
            "a Kalman filter. Sales to come: the last six months' mean, with a growth that fades "
            "and a factor of the month. Range by seeded simulation of hazards (beta), factors, "
            "sales (negative binomial), level and counts (binomial). Beside it the chain ladder: "
            "returns known by each age grow by the pooled factor to the next age, with Mack's "
            "standard error."
        ),
        sources=(
            Source("Mack, ASTIN Bulletin 23, 1993, data read in public repositories", Tag.READ),
            Source("Beta-binomial distribution, checked against scipy.stats.betabinom", Tag.MEMORY),
            Source(
                "NIST/SEMATECH e-Handbook 6.4.4, ratios to a centred moving average",
                Tag.SECOND_HAND,
            ),
            Source("Harvey, Forecasting, Structural Time Series Models, 1989, 3.2", Tag.MEMORY),
            Source(_("Months needed, pooling over cohorts, the simulation, the level"), Tag.OWN),
        ),
        shown=_("Lifetimes and forecast page."),
        limits=_(
            "Measured by tests/benchmarks/foretelling.py on invented workshops: its table is in "
            "the README beside it. A season is not known before two years of sales: until then "
            "limits of 90 % hold 50 to 80 of 100 months of a strongly seasonal workshop. A change "
            "that has just begun is not foreseen. The ladder stops at the oldest age seen."
        ),
        modules=(
            "returns.figures.forecast.sums.cohorts",
            "returns.figures.forecast.sums.drift",
            "returns.figures.forecast.sums.forecasts",
            "returns.figures.forecast.sums.projection",
            "returns.figures.forecast.sums.run_off",
            "returns.figures.forecast.sums.seasons",
        ),
    ),
    Entry(
        key="spares",
        title=_("Spares"),
        answers=_("How many screws and parts to hold and to order?"),
        formula=_(
            "Least stock S with P(demand until the next order is there < S) ≥ the service wanted, "
            "at upper limits of demand and of its scatter, for few months only estimate them. "
            "Until then is the lead time and a week to look. Pieces by month: Σ pieces in a kit · "
            "kits expected; variances add."
        ),
        sources=(
            Source(_("Textbooks: base stock under Poisson demand"), Tag.MEMORY),
            Source("Garwood, Biometrika 28 (1936) 437-442, limits of a Poisson rate", Tag.MEMORY),
            Source(_("Months needed before spread is believed"), Tag.OWN),
        ),
        shown=_("Lifetimes and forecast page."),
        limits=_("Demand is taken to go on as it was."),
        modules=(
            "returns.figures.forecast.sums.spares",
            "returns.figures.forecast.sums.part_months",
        ),
    ),
    Entry(
        key="design",
        title=_("Feedback to the design"),
        answers=_("Which batch breaks sooner than its like, and where?"),
        formula=_(
            "Hazard ratio of a batch to the others of its model, by Cox's partial likelihood with "
            "Breslow's ties; expected failures by the log-rank test. p = 1 / Λ, Λ = (1 + I)^(−½) "
            "exp(I / (1 + I) · z² / 2), I = τ² / se², corrected by Holm. Saved: failures above "
            "those of the others · mean material and cost of the model's returns."
        ),
        sources=(
            Source("Freireich 1963 and Miller 1981, data by lifelines and survival", Tag.READ),
            Source("Cox 1972; Breslow 1974; Mantel 1966; Holm 1979", Tag.MEMORY),
            Source("Johari, Pekelis & Walsh 2017, always valid inference", Tag.SECOND_HAND),
            Source(_("How large a difference is looked for; failures needed"), Tag.OWN),
        ),
        shown=_("Page of feedback to the design."),
        limits=_(
            "A frame does not say when it was sold: its age is laid on the months of sale. One "
            "component is counted for a frame, that of its first finding."
        ),
        modules=("returns.figures.design.sums",),
    ),
    Entry(
        key="press-plan",
        title=_("Plan of the press"),
        answers=_("Which lots make the next batches so that the promises hold at least cost?"),
        formula=_(
            "Linear programme over all weeks: least Σ price · kg, each week's kg met, no lot used "
            "beyond what it holds or before it comes, and for each week Σ (figure − promise) · kg "
            "on the right side; melt flow by its logarithm. Without a plan: the least easing."
        ),
        sources=(
            Source(
                "HiGHS by scipy.optimize.linprog; log rule of melt flow as in blends", Tag.MEMORY
            ),
            Source(_("Flake to come: the middle of the forecast, spread over its weeks"), Tag.OWN),
        ),
        shown=_("Page Plan the press."),
        limits=_("Returns may bring less. A spread of heat passes is planned by its mean alone."),
        modules=("returns.figures.press.sums",),
    ),
    Entry(
        key="what-if",
        title=_("What if"),
        answers=_("What would follow from another promise, price, pace, hand or flow of returns?"),
        formula=_(
            "Seeded discrete-event simulation: random arrivals, first come first served, minutes "
            "and other waiting drawn from frames of the past. Mended where labour + parts + post "
            "≤ ceiling · (taking apart + new frame + post − flake). Range: that of the years drawn."
        ),
        sources=(
            Source("simpy, checked against queues with known answers", Tag.SECOND_HAND),
            Source(_("Five hours a hand and day, five days a week; years simulated"), Tag.OWN),
        ),
        shown=_("Page What if."),
        limits=_(
            "Holidays, illness and frames of other kinds than those of late are not in it. Odds "
            "of mending are those of the past."
        ),
        modules=("returns.figures.whatif.sums",),
    ),
    Entry(
        key="emissions",
        title=_("Avoided emissions"),
        answers=_("What did our material emit, and what virgin material may it have replaced?"),
        formula=_(
            "line 1 = mass · process factor; line 2 = mass · virgin factor · share replaced. "
            "The lines are never netted. Own factors of the year go before the UK set."
        ),
        sources=(
            Source(
                "UK Government GHG conversion factors for company reporting, 2023 to 2025, in a "
                "packaged table",
                Tag.READ,
            ),
            Source("Zink, Geyer & Startz, A Market-Based Framework, displacement", Tag.READ),
            Source("GHG Protocol, Scope 3 Standard: apart from the inventory", Tag.MEMORY),
            Source(_("The share replaced and its range"), Tag.OWN),
        ),
        shown=_("Emissions page."),
        limits=_("A year without its own factor gets no number. Own power is not measured."),
        modules=("returns.figures.emissions.sums",),
    ),
    Entry(
        key="repairability",
        title=_("Repairability profile"),
        answers=_("Which model is hard to repair, and where?"),
        formula=_("Σ part weight · aspect weight · score, each score 1 to 5."),
        sources=(
            Source("EN 45554:2020, aspects", Tag.MEMORY),
            Source("Delegated Regulation (EU) 2023/1669, Annex IV", Tag.SECOND_HAND),
            Source(_("Scores and equal weights"), Tag.OWN),
        ),
        shown=_("Repairability page."),
        limits=_("Borrowed from other products: no conformity, no rating."),
        modules=("returns.figures.repairability.sums",),
    ),
    Entry(
        key="claims",
        title=_("What may be said in public"),
        answers=_("Is the evidence enough for this sentence?"),
        formula=_(
            "Published only with enough units, months and a narrow enough range, and without a "
            "broad word such as “sustainable”."
        ),
        sources=(
            Source(_("30 units or 3 runs, at most 30 percentage points"), Tag.OWN),
            Source("UK CMA, Green Claims Code, September 2021", Tag.SECOND_HAND),
            Source("Directive (EU) 2024/825", Tag.SECOND_HAND),
            Source(_("Directive (EU) 2024/825, recital 9, examples; the German words"), Tag.MEMORY),
        ),
        shown=_("Claims page."),
        limits=_(
            "Local law decides what may be claimed. Broad words are known by a list for each "
            "language, now English and German; no list is complete."
        ),
        modules=("returns.figures.claims.sums.claims", "returns.figures.claims.sums.broad_words"),
    ),
    Entry(
        key="became",
        title=_("What a frame became"),
        answers=_("How much of my frame is in which batch?"),
        formula=_(
            "Frame material credited, over all material ground with it, times what the batch took "
            "of that lot."
        ),
        sources=(
            Source(_("Even mixing, and losses borne by all frames of a lot alike"), Tag.OWN),
            Source("ISO 22095:2020, chain of custody, mass balance", Tag.MEMORY),
        ),
        shown=_("The page behind a customer's private link."),
        limits=_("A share by mass: no piece of flake can be followed."),
        modules=("returns.regrind.sums",),
    ),
    Entry(
        key="addresses",
        title=_("Addresses"),
        answers=_("Could a letter with this address arrive?"),
        formula=_("Each country's needed lines and the shape of its code."),
        sources=(
            Source("Universal Postal Union, postal addressing systems", Tag.MEMORY),
            Source(_("Kept loose: unlisted countries are taken as typed"), Tag.PRACTICE),
        ),
        shown=_("Forms for customers."),
        limits=_("Whether an address exists only the post knows."),
        modules=("returns.customers.sums",),
    ),
)

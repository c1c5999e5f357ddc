"""Every number that rests on our own choice, on common practice or on memory, in one place.

The value shown is read from where it acts, so the list cannot say another. What the owner may
change has the name that its field carries; its value here is the one a new workshop starts with.
"""

from __future__ import annotations

from dataclasses import MISSING, dataclass, fields, is_dataclass
from fractions import Fraction
from importlib import import_module
from typing import Any

from django.db.models import Model
from django.utils.formats import get_format
from django.utils.translation import gettext_lazy as _

from inventory.furniture.numbers import fixed
from returns.figures.method.entries import TAG_WORDS, Tag


@dataclass(frozen=True, slots=True)
class Choice:
    """A number at `path`: a module's constant, a model's field, or a dataclass's default.

    `words` may be left out for a model's field, which has its own.
    """

    path: str
    words: Any = ""
    tag: Tag = Tag.OWN

    @property
    def value(self) -> str:
        """The number as text; several are listed."""
        found = _found(self.path)
        return "; ".join(map(_text, found)) if isinstance(found, tuple) else _text(found)

    @property
    def name(self) -> Any:
        """What the number is for."""
        return self.words or _field(self.path).verbose_name

    @property
    def may_be_changed(self) -> bool:
        """Whether the owner sets it; a model's field then holds it."""
        return ".models." in self.path

    @property
    def tag_words(self) -> Any:
        return TAG_WORDS[self.tag]


def _found(path: str) -> Any:
    owner, name = _owner(path)
    if isinstance(owner, type) and issubclass(owner, Model):
        return _field(path).default
    if isinstance(owner, type) and is_dataclass(owner):
        # Not `getattr`: on a class with slots it gives the slot's descriptor and not the default.
        default = next(field.default for field in fields(owner) if field.name == name)
        if default is MISSING:
            raise AttributeError(path)
        return default
    return getattr(owner, name)


def _owner(path: str) -> tuple[Any, str]:
    """Return the module or class that holds the last name of a path, and that name."""
    above, name = path.rsplit(".", 1)
    try:
        return import_module(above), name
    # The part above the last name is a class then, and its module is one step further up.
    except ModuleNotFoundError:
        module, cls = above.rsplit(".", 1)
        return getattr(import_module(module), cls), name


def _field(path: str) -> Any:
    owner, name = _owner(path)
    return owner._meta.get_field(name)


def _text(value: Any) -> str:
    """Write a whole number in threes, another one with the decimal sign of the language."""
    # 1/3 as it was chosen: a decimal would be another number.
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, int):
        return fixed(value, 0)
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return text.replace(".", str(get_format("DECIMAL_SEPARATOR")))


_FITS = "returns.arriving.sums.mass_hypotheses.Priors"
_POLICY = "returns.models.Policy"
_SHOP = "inventory.models.Workshop"

CHOICES: tuple[Choice, ...] = (
    # Weighing and reconciliation.
    Choice(
        "inventory.weighing.sums.weighing.COVERAGE_FACTOR",
        _("coverage factor k of every expanded uncertainty (GUM 6.3.3, about 95 %)"),
        Tag.MEMORY,
    ),
    Choice(
        "inventory.weighing.sums.reconciliation.SIGNIFICANCE",
        _("chance of a false alarm when a month's weighings are checked"),
    ),
    Choice(
        "inventory.weighing.sums.reconciliation.POWER",
        _("how surely the least leak that is told would be seen"),
    ),
    Choice(
        "inventory.weighing.sums.weighing.COMMON_SHARE",
        _("share of a scale's error that all loads have in common when nobody measured it by load"),
    ),
    Choice(
        "inventory.weighing.sums.weighing.REPEATS_MIN",
        _("weighings of one load at least that tell how well a scale repeats"),
    ),
    Choice(
        "returns.arriving.queries.frame_masses.GAP_MG",
        _("mass by which a mended frame may differ from its books before we ask, mg"),
    ),
    Choice(
        "returns.arriving.queries.frame_masses.GAP_UNCERTAINTIES",
        _("the same, in expanded uncertainties; the larger of the two counts"),
    ),
    Choice(
        "returns.arriving.sums.plausible.SPREADS",
        _("spreads of the pieces by which a mass may differ before it is asked back"),
    ),
    Choice(f"{_SHOP}.grind_loss_limit_ppm"),
    # What the mass of a frame says.
    Choice(f"{_FITS}.complete", _("share of frames thought whole before weighing")),
    Choice(f"{_FITS}.one_missing", _("share of frames thought to lack one piece")),
    Choice(f"{_FITS}.two_missing", _("share of frames thought to lack two pieces")),
    Choice(f"{_FITS}.three_missing", _("share of frames thought to lack three pieces")),
    Choice(f"{_FITS}.one_extra", _("share of frames thought to have a piece too many")),
    Choice(f"{_FITS}.two_extra", _("share of frames thought to have two pieces too many")),
    Choice(
        f"{_FITS}.one_missing_one_extra",
        _("share of frames thought to lack one piece and have another one twice"),
    ),
    Choice(
        f"{_FITS}.one_of_another_model",
        _("share of frames thought to have one piece of another model"),
    ),
    Choice(
        f"{_FITS}.missing_and_foreign",
        _("share of frames thought to lack one piece and hold something foreign"),
    ),
    Choice(f"{_FITS}.foreign", _("share of frames thought to hold something foreign")),
    Choice(f"{_FITS}.unexplained", _("share of frames whose mass nothing here explains")),
    Choice(f"{_POLICY}.massfit_ratio_ppm"),
    # Grading and mending.
    Choice(f"{_POLICY}.ceiling_ppm"),
    Choice(f"{_POLICY}.mends_max", tag=Tag.PRACTICE),
    Choice(f"{_POLICY}.wall_ratio_ppm", tag=Tag.PRACTICE),
    Choice(f"{_POLICY}.hole_offset_um", tag=Tag.PRACTICE),
    Choice(f"{_SHOP}.labour_minor_per_hour"),
    Choice(f"{_SHOP}.postage_out_minor"),
    Choice(f"{_SHOP}.postage_in_minor"),
    Choice(f"{_SHOP}.strip_minutes"),
    Choice(
        "returns.grading.sums.facts.RECOVERY_SHARE_PPM",
        _("share of a frame's mass that becomes usable flake before runs tell, parts per million"),
    ),
    Choice(
        "returns.grading.queries.facts.YIELD_RUNS",
        _("latest grind runs whose yield a grading reckons with"),
    ),
    Choice(
        "returns.grading.queries.facts.YIELD_RUNS_MIN",
        _("grind runs at least before it does"),
    ),
    Choice(
        "returns.grading.sums.evidence.WEIGHT_DEFAULT",
        _("earlier cases that a typed odds or time counts for"),
    ),
    Choice(
        "returns.grading.sums.evidence.MINUTES_SHAPE_DEFAULT",
        _("shape of the spread of bench times (4: about half their mean)"),
    ),
    Choice(
        "returns.grading.sums.evidence.LEVEL_DEFAULT", _("level of the ranges of odds and minutes")
    ),
    Choice(
        "returns.grading.sums.fallback.TRIES_MAX",
        _("how often one remedy is counted on again after a failed check"),
    ),
    Choice("returns.grading.sums.evidence.ODDS_MIN", _("typed odds are never taken as lower")),
    Choice("returns.grading.sums.evidence.ODDS_MAX", _("typed odds are never taken as higher")),
    Choice(
        "returns.grading.queries.new_frame.BATCHES_MAX",
        _("newest batches that the cost of a new frame is worked out from, at most"),
    ),
    Choice(f"{_POLICY}.new_frame_batches"),
    Choice(f"{_POLICY}.new_frame_overhead_minor"),
    Choice(
        "returns.salvage.queries.donors.TAKE_OFF_MINUTES",
        _("minutes to take one part off a donor whole and to fit it"),
    ),
    Choice(f"{_POLICY}.kits_max"),
    Choice(f"{_POLICY}.kits_days"),
    # Material.
    Choice(
        "inventory.material.sums.heat.PASSES_MAX",
        _("most heat passes told apart; more count as so many"),
    ),
    Choice("inventory.material.queries.blends.LOT_MIN_MG", _("least of a lot worth weighing, mg")),
    Choice(
        "inventory.goods.sums.CONFIDENCE", _("confidence of what a next load of goods will yield")
    ),
    Choice("inventory.goods.sums.LOADS_MIN", _("loads of a kind before the next one is foretold")),
    Choice(
        "returns.spoiling.sums.SIGMAS",
        _("standard deviations to the limits of a batch's spoiled share"),
        Tag.MEMORY,
    ),
    Choice("returns.spoiling.sums.BATCHES_MIN", _("batches before those limits are drawn")),
    Choice(
        "returns.spoiling.sums.EXPECTED_MIN",
        _("expected spoiled pairs under which the limits are rough"),
        Tag.PRACTICE,
    ),
    Choice(
        "returns.auditing.rules.COVERAGE_FACTOR",
        _("standard deviations beyond which two weighings of an audit differ"),
    ),
    # Lifetimes, forecasts, spares.
    Choice(
        "returns.figures.lifetimes.sums.lifetimes.FAILURES_MIN",
        _("first returns needed for a curve or a fit"),
    ),
    Choice(
        "returns.figures.lifetimes.sums.weibull.SHAPE_MIN",
        _("a curve with a lower shape is not shown as a fit"),
    ),
    Choice(
        "returns.figures.forecast.sums.cohorts.RETURNS_MIN",
        _("first returns needed for a forecast"),
    ),
    Choice(
        "returns.figures.forecast.sums.cohorts.TAIL_AGES",
        _("latest months of age whose rate carries on beyond the oldest age seen"),
    ),
    Choice(
        "returns.figures.forecast.sums.drift.DRIFT_AT_FIRST",
        _("drift of the level of returns from month to month before there is a record"),
    ),
    Choice(
        "returns.figures.forecast.sums.drift.DRIFTS",
        _("drifts of the level that are weighed against each other"),
    ),
    Choice(
        "returns.figures.forecast.sums.drift.STAYS",
        _("share of a deviation of the level that is left a month later"),
    ),
    Choice(
        "returns.figures.forecast.sums.drift.EXPECTED_MIN",
        _("returns expected of a month at least before it says anything of the level"),
    ),
    Choice(
        "returns.figures.forecast.sums.seasons.SEASON_MONTHS_MIN",
        _("months of returns before a month of the year has a factor"),
    ),
    Choice(
        "returns.figures.forecast.sums.seasons.ROUNDS",
        _("rounds in which hazards and factors of the year are found in turn"),
    ),
    Choice(
        "returns.figures.forecast.sums.projection.LEVEL_MONTHS",
        _("latest months whose mean is the level of sales"),
    ),
    Choice(
        "returns.figures.forecast.sums.projection.DAMPING",
        _("factor by which the growth of sales gets smaller each month ahead"),
    ),
    Choice(
        "returns.figures.forecast.sums.projection.SURPRISE",
        _("relative doubt of sales to come beyond what chance explains"),
    ),
    Choice(
        "returns.figures.forecast.sums.projection.FACTOR_LEAST",
        _("least factor of a month of the year in sales"),
    ),
    Choice(
        "returns.figures.forecast.queries.forecast.REVIEW_DAYS",
        _("days from one look at what to order to the next"),
    ),
    Choice(
        "returns.figures.forecast.sums.spares.RATE_CONFIDENCE",
        _("how surely demand is no higher than the rate that the stock is worked out with"),
    ),
    Choice(
        "returns.figures.forecast.sums.spares.DISPERSION_CONFIDENCE",
        _("how surely it scatters no more than the stock is worked out with"),
    ),
    Choice("returns.figures.forecast.sums.drift.MISS_MONTHS", _("months of misses looked at")),
    Choice(
        "returns.figures.forecast.queries.forecast.COVERAGE",
        _("coverage of the forecast's outer limits"),
    ),
    Choice(
        "returns.figures.forecast.queries.forecast.INNER_COVERAGE",
        _("coverage of its inner limits"),
    ),
    Choice(
        "returns.figures.forecast.queries.forecast.MONTHS_LOOKED_AT",
        _("months of use of a part looked at"),
    ),
    Choice(
        "returns.figures.forecast.queries.forecast.SERVICE_LEVEL",
        _("share of requests that the shelf shall meet, where none is asked for"),
    ),
    Choice(
        "returns.figures.forecast.sums.spares.MONTHS_MIN",
        _("months of use needed before the spread of demand is believed"),
    ),
    Choice("returns.models.FrameModel.expected_life_months"),
    Choice(
        "returns.figures.design.sums.FAILURES_MIN",
        _("failures needed before batches are compared"),
    ),
    Choice(
        "returns.figures.design.sums.SIGNIFICANCE",
        _("chance of a false alarm among all comparisons of a model"),
    ),
    Choice(
        "returns.figures.design.sums.LOOKED_FOR",
        _("log of the hazard ratio that is looked for"),
    ),
    Choice(
        "returns.figures.whatif.sums.CASES_MIN",
        _("frames of the past needed for a simulation"),
    ),
    Choice("returns.figures.whatif.sums.RUNS", _("years simulated at most")),
    Choice("returns.figures.whatif.sums.RUNS_MIN", _("years simulated at least")),
    Choice("returns.figures.whatif.sums.DAYS", _("open days of a simulated year")),
    Choice(
        "returns.figures.whatif.sums.WARM_UP_DAYS",
        _("open days before it that are not counted"),
    ),
    Choice(
        "returns.figures.circularity.queries.headline.ISSUES_MIN",
        _("issues to moulding needed to say how long the flake lasts"),
    ),
    Choice(
        "returns.figures.circularity.queries.headline.GRADINGS_MIN",
        _("gradings needed to say what a returned frame costs"),
    ),
    Choice(
        "returns.figures.circularity.queries.headline.TWO_SIDED",
        _("standard errors either way of what a frame costs, and of the pace of moulding"),
        Tag.MEMORY,
    ),
    Choice(
        "returns.figures.press.sums.LEAST_KG",
        _("least mass that a plan of the press names, kg"),
    ),
    Choice(
        "returns.figures.press.queries.LOT_MIN_MG",
        _("least mass of a lot that a plan of the press uses, mg"),
    ),
    Choice(
        "returns.figures.whatif.queries.LOOK_BACK_DAYS",
        _("days of the past that a simulation draws from"),
    ),
    Choice(
        "returns.figures.whatif.queries.OPEN_DAYS_A_WEEK",
        _("open days of a week"),
    ),
    Choice(
        "returns.figures.whatif.queries.MINUTES_A_DAY",
        _("bench minutes of a hand on an open day"),
    ),
    # Circularity, claims, emissions, repairability.
    Choice(
        "returns.figures.circularity.queries.indicators.SOLD_MIN",
        _("units sold that a model's circularity indicator needs"),
    ),
    Choice(
        "returns.figures.circularity.sums.indicator_spread.STILL_OUT_MAX",
        _("largest share of frames still out at which their mean life counts as measured"),
    ),
    Choice(
        "returns.figures.circularity.queries.indicators.DRAWS",
        _("draws behind the range of the indicator"),
    ),
    Choice(
        "returns.figures.circularity.queries.circular_flows.DRAWS",
        _("draws behind the range of the outflow"),
    ),
    Choice(
        "returns.figures.circularity.sums.run_chart.VALUES_MIN",
        _("grind runs needed for limits of their yield"),
    ),
    Choice(
        "returns.figures.claims.queries.claims_sheet.COUNT_MIN",
        _("units or frames that a claim needs"),
    ),
    Choice(
        "returns.figures.claims.queries.claims_sheet.RUNS_MIN", _("grind runs that a claim needs")
    ),
    Choice(
        "returns.figures.claims.queries.claims_sheet.ISSUES_MIN",
        _("issues to moulding that a claim needs"),
    ),
    Choice(
        "returns.figures.claims.queries.claims_sheet.WIDTH_PERCENT_MAX",
        _("widest range of a claim, percentage points"),
    ),
    Choice(
        "returns.figures.claims.queries.public_claims.MONTHS",
        _("closed months that the public page tells of"),
    ),
    Choice(f"{_POLICY}.substitution_low_ppm"),
    Choice(f"{_POLICY}.substitution_ppm"),
    Choice(f"{_POLICY}.substitution_high_ppm"),
    Choice(
        "returns.figures.repairability.queries.IN_KIT", _("score of a part that comes in the kit")
    ),
    Choice("returns.figures.repairability.queries.STOCKED", _("score of a part that we stock")),
    Choice(
        "returns.figures.repairability.queries.NO_PART", _("score of a part that is not to be had")
    ),
    Choice(
        "returns.figures.claims.queries.claims_sheet.MONTHS_MIN",
        _("months that a claim covers at least, unless the books are younger"),
    ),
)

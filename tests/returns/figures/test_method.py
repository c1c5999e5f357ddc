"""The method page explains every module of sums, with a source and how it is known."""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
import re
from collections.abc import Iterator
from dataclasses import fields
from decimal import Decimal
from fractions import Fraction

import pytest
from django.test import Client

import inventory
import returns
from inventory.weighing import api as reconciliation
from inventory.weighing.sums.weighing import COVERAGE_FACTOR
from returns.arriving.sums.mass_hypotheses import Priors
from returns.figures.circularity import api as circularity
from returns.figures.circularity.pages import tables
from returns.figures.circularity.queries.circularity import circularity as figures_of
from returns.figures.circularity.queries.indicators import Indicators
from returns.figures.claims.sums import claims
from returns.figures.forecast import api as foresight
from returns.figures.method import CHOICES, ENTRIES, Tag
from returns.figures.span.queries import Scope, Span
from returns.models import Policy
from returns.salvage import api as salvage
from tests.makers import NOON
from tests.returns.explained_figures import FIGURES

# These hold words, days, codes or shapes of what is kept, and no figure of mass, odds or money.
NO_FIGURES = frozenset(
    {
        "inventory.chain.sums",
        "inventory.journal.sums",
        "inventory.ledger.sums.scans",
        "inventory.masters.sums",
        "inventory.months.sums.kept_report",
        "returns.asking.sums",
        "returns.devices.sums",
        "returns.grading.sums.wording",
        "returns.handover.sums",
        "returns.tracing.sums.documents",
        "returns.tracing.sums.hashing",
        "returns.tracing.sums.steps",
    }
)


def modules() -> Iterator[str]:
    """Every module of sums in both rooms; a package that does something counts by its name too."""
    yield from floors("sums")


def floors(*names: str) -> Iterator[str]:
    """The modules of these floors of every story: `room/story/floor.py` or a file below it."""
    for room in (inventory, returns):
        for found in pkgutil.walk_packages(room.__path__, f"{room.__name__}."):
            parts = found.name.split(".")
            if set(names) & set(parts[2:]) and not (found.ispkg and is_hollow(found.name)):
                yield found.name


def is_hollow(package: str) -> bool:
    """Whether a package only holds its modules together."""
    body = ast.parse(inspect.getsource(importlib.import_module(package))).body
    brought = [node.module for node in body if isinstance(node, ast.ImportFrom)]
    return brought == ["__future__"]


def test_every_module_of_sums_is_covered_and_no_other_named() -> None:
    covered = {name for entry in ENTRIES for name in entry.modules}
    assert covered | NO_FIGURES == set(modules())
    assert not covered & NO_FIGURES


def test_every_entry_has_sources_with_tags_and_all_its_words() -> None:
    for entry in ENTRIES:
        assert entry.sources, entry.key
        for source in entry.sources:
            assert str(source.text).strip()
            assert isinstance(source.tag, Tag)
        for words in (entry.title, entry.answers, entry.formula, entry.shown, entry.limits):
            assert str(words).strip(), entry.key


def test_keys_are_unique_and_fit_an_address() -> None:
    keys = [entry.key for entry in ENTRIES]
    assert len(keys) == len(set(keys))
    assert all(key.replace("-", "").isalpha() and key.islower() for key in keys)


@pytest.mark.django_db
def test_the_page_is_open_and_linked_from_the_foot() -> None:
    client = Client()
    shown = client.get("/method/")
    assert shown.status_code == 200
    page = shown.content.decode()
    for entry in ENTRIES:
        assert f'id="{entry.key}"' in page
    assert "our own choice" in page
    for choice in CHOICES:
        assert f">{choice.value}<" in page, choice.path
    assert 'href="/method/"' in client.get("/").content.decode()
    assert client.post("/method/").status_code == 405


# What an answer holds beside figures: names, times, states, counts that nothing is worked out of.
NOT_FIGURES = {
    "as_of",
    "scope",
    "missing",
    "first_month",
    "last_month",
    "indicators",
    "service_ppm",
    "parts",
    "part",
    "name",
    "used_by_month",
    "lead_time_days",
    "on_hand",
    "reserved",
    "promises",
    "ready",
    "currency",
    "label",
    "verdict",
    "unchecked_places",
    "count_again",
}
ANSWERS = (
    circularity.CircularityAnswer,
    circularity.IndicatorsAnswer,
    foresight.LifetimesAnswer,
    foresight.ForecastAnswer,
    foresight.ProposalsAnswer,
    foresight.ProposalAnswer,
    salvage.BoardAnswer,
    reconciliation.ReconciliationAnswer,
)


@pytest.mark.parametrize("answer", ANSWERS, ids=lambda answer: answer.__name__)
def test_every_figure_of_an_answer_has_its_entry(answer: type) -> None:
    keys = set(answer().fields) - NOT_FIGURES
    assert keys <= set(FIGURES), f"explain {sorted(keys - set(FIGURES))} on the method page"


@pytest.mark.django_db
def test_every_figure_of_the_owners_tables_and_claims_has_its_entry() -> None:
    data = tables.figures(figures_of(Span.of_year_before(NOON), Scope()))
    keys = {str(row[0].raw) for row in data.rows}
    keys |= set(claims.SENTENCES) - {"not_enough_evidence"}
    keys |= {field.name for field in fields(Indicators)}
    assert keys <= set(FIGURES)


def test_every_figure_points_at_an_entry_that_is_there() -> None:
    assert set(FIGURES.values()) <= {entry.key for entry in ENTRIES}


# Constants of the sums and queries that are no choice about a figure, and why.
NO_CHOICES = {
    "inventory.chain.queries.CHUNK": "a bound of a list",
    "inventory.masters.sums.LOGO_BOX": "the size of a picture",
    "inventory.masters.sums.LOGO_BYTES_MAX": "a bound of input",
    "inventory.masters.sums.LOGO_SIDE_MAX": "a bound of input",
    "inventory.months.queries.recovered.report.BOOKS_SINCE": "the number of an edition",
    "inventory.staff.queries.SIGN_INS_SHOWN": "a bound of a list",
    "returns.figures.press.queries.LOTS_MAX": "a bound of a list",
    "returns.figures.press.queries.MG_PER_KG": "a unit",
    "returns.figures.press.queries.WEEKS_A_MONTH": "weeks in a month",
    "returns.figures.press.sums.SOURCES_MAX": "a bound of a list",
    "returns.figures.press.sums.WEEKS_MAX": "a bound of input",
    "returns.figures.circularity.queries.headline.GRADINGS_MAX": "a bound of a list",
    "returns.figures.circularity.queries.headline.WEEKS_A_MONTH": "weeks in a month",
    "returns.figures.design.sums.STEPS_MAX": "a bound of an iteration",
    "returns.figures.whatif.queries.CASES_MAX": "a bound of a list",
    "returns.figures.whatif.sums.JOBS_MAX": "a bound of the time it takes",
    "inventory.weighing.sums.certificates.K_DEFAULT": "what a certificate means that says no k",
    "inventory.weighing.sums.certificates.POINTS_MAX": "a bound of input",
    "inventory.weighing.sums.weighing.EDITION": "a number of the form",
    "returns.figures.forecast.sums.seasons.YEAR": "months in a year",
    "inventory.goods.queries.LOADS_MAX": "a bound of a list",
    "returns.setup.queries.MODELS_SHOWN_MAX": "a bound of a list",
    "returns.spoiling.queries.BEST_MAX": "a bound of a list",
    "inventory.masters.sums.SPANS_MAX": "a bound of input",
    "inventory.masters.sums.SPAN_DAYS_MAX": "a bound of input",
    "inventory.months.queries.recovered.report.BEYOND_SINCE": "a number of the form",
    "inventory.months.sums.kept_report.SHOWN_MAX": "a bound of a list",
    "inventory.running.queries.health.DISK_FREE_MIN_BYTES": "of the machine, no figure",
    "returns.devices.sums.KEY_MS_MAX": "of a scanner's set-up, no figure",
    "returns.goods.queries.MOULDED_MAX": "a bound of a list",
    "returns.handover.queries.OPEN_MAX": "a bound of a list",
    "returns.handover.sums.SHELF_LENGTH_MAX": "a bound of input",
    "returns.spoiling.queries.BATCHES_MAX": "a bound of a list",
    "inventory.running.queries.outbox.FAILING_TRIES": "a bound of what is shown",
    "inventory.ledger.sums.scans.SHOWN_LENGTH_MAX": "a bound of what is shown",
    "inventory.ledger.sums.scans.TYPED_LENGTH_MAX": "a bound of input",
    "returns.arriving.queries.massfits.MODELS_TRIED_MAX": "a bound of work",
    "returns.arriving.queries.massfits.FITS_KEPT_MAX": "a bound of a list",
    "inventory.weighing.sums.weighing.IN_SERVICE_FACTOR": "read in the directive",
    "inventory.material.sums.melt_flow.RULE_RATIO_MAX": "read",
    "inventory.material.sums.melt_flow.COVERAGE_FACTOR": "that of weighing",
    "inventory.weighing.sums.networks.ROUNDING": "arithmetic",
    "inventory.material.sums.blending.NOISE_MG": "arithmetic",
    "inventory.material.sums.blending.SLACK": "arithmetic",
    "inventory.material.sums.mixing.TOLERANCE": "arithmetic",
    "inventory.material.sums.mixing.SOLVED": "a code of the solver",
    "inventory.material.sums.mixing.INFEASIBLE": "a code of the solver",
    "inventory.weighing.sums.traced.COVERAGE": "that of weighing",
    "returns.grading.queries.learning.LEVEL": "that of the sums",
    "returns.grading.queries.learning.WEIGHT": "that of the sums",
    "returns.figures.lifetimes.queries.lifetimes.FAILURES_MIN": "that of the sums",
    "inventory.months.sums.calendar_month.YEAR_MIN": "a bound of input",
    "inventory.months.sums.calendar_month.YEAR_MAX": "a bound of input",
    "inventory.months.sums.calendar_month.MONTHS_PER_YEAR": "a unit",
    "inventory.weighing.sums.masses.TEXT_LENGTH_MAX": "a bound of input",
    "inventory.weighing.sums.masses.MASS_MG_MAX": "a bound of input",
    "inventory.ledger.sums.codes.CHECKED_LENGTH": "the shape of a code",
    "returns.arriving.sums.plausible.PLACES_SLIPPED_MAX": "how far a slip is looked for",
    "returns.grading.sums.blame.ROUNDS_MAX": "a bound of work",
    "returns.grading.sums.blame.NOTHING_CHANGES": "arithmetic",
    "returns.grading.sums.blame.PARTS": "the fineness of what is kept",
    "returns.grading.sums.fallback.AHEAD_MAX": "a bound of work",
    "returns.grading.sums.decision.FINDINGS_MAX": "a bound of input",
    "returns.grading.sums.decision.ALTERNATIVES_MAX": "a bound of a list",
    "returns.grading.sums.plans.PARTIAL_PLANS_MAX": "a bound of work; said when reached",
    "returns.grading.sums.sensitivity.RANGE_FACTOR": "the span of a comparison, said beside it",
    "returns.grading.sums.sensitivity.ODDS_STEP_PPM": "the fineness of what is shown",
    "returns.grading.sums.sensitivity.PARTS": "how closely a span is searched",
    "returns.arriving.sums.massfit.COMPONENTS_MAX": "a bound of input",
    "returns.arriving.sums.massfit.OTHERS_MAX": "a bound of input",
    "returns.arriving.sums.massfit.FITS_SHOWN_MAX": "a bound of a list",
    "returns.salvage.sums.matching.NEEDS_MAX": "a bound of work",
    "returns.salvage.sums.matching.DONORS_MAX": "a bound of work",
    "returns.salvage.sums.matching.SOLVE_SECONDS_MAX": "a bound of work",
    "returns.auditing.sums.LOT_MIN": "read",
    "returns.figures.forecast.sums.run_off.COHORTS_MIN": "what the method itself needs",
    "inventory.months.queries.recovered.comparison.CAUSES_MAX": "a bound of a list",
    "inventory.months.queries.recovered.comparison.MOVEMENTS_MAX": "a bound of a list",
    "returns.figures.circularity.queries.flows.COVERAGE_FACTOR": "that of weighing",
    "returns.figures.forecast.queries.forecast.MONTHS_AHEAD": "the span that was asked for",
    "returns.figures.forecast.queries.forecast.LEADS": "how far back-tests look, said beside them",
    "returns.figures.forecast.queries.forecast.DAYS_PER_MONTH": "a unit",
    "returns.figures.span.queries.MONTHS_MAX": "a bound of input",
    "returns.figures.circularity.queries.turnaround.BINS": "the bars of a picture",
    "returns.salvage.queries.donors.MONTHS_BACK": "the span of a comparison, said beside it",
    "returns.bench.queries.queue.PAGE_SIZE": "a bound of a list",
    "returns.bench.queries.frames.HISTORY_MAX": "a bound of a list",
    "returns.figures.emissions.queries.YEARS_MAX": "a bound of a list",
    "inventory.weighing.queries.reconciled.COVERAGE": "that of weighing",
    "inventory.weighing.queries.reconciled.OUT_OF_LINE_MAX": "a bound of a list",
    "inventory.material.queries.blends.LOTS_MAX": "a bound of a list",
    "inventory.months.queries.audit.SHOWN_MAX": "a bound of a list",
    "inventory.months.queries.recovered.report.EDITION": "a number of the form",
}
# Units, and the start of random numbers: nothing is chosen by them.
UNITS = {"PPM", "WHOLE_PPM", "MG_PER_KG", "UG_PER_KG", "SEED"}
_NUMBER = int | float | Fraction | Decimal


def constants() -> Iterator[str]:
    """Public constants of the sums and queries that are numbers, each once, where it is made."""
    for path in floors("sums", "queries"):
        module = importlib.import_module(path)
        made = set(re.findall(r"^([A-Z][A-Z0-9_]+)(?::.*?)? = ", inspect.getsource(module), re.M))
        for name in sorted(made):
            value = getattr(module, name)
            several = value if isinstance(value, tuple) else (value,)
            numbers = bool(several) and all(isinstance(one, _NUMBER) for one in several)
            if numbers and not isinstance(value, bool):
                yield f"{path}.{name}"


def test_every_number_in_the_sums_is_a_listed_choice_or_says_why_it_is_none() -> None:
    listed = {choice.path for choice in CHOICES}
    found = {path for path in constants() if path.rsplit(".", 1)[1] not in UNITS}
    missing = found - listed - set(NO_CHOICES)
    assert not missing, f"list {sorted(missing)} in returns/figures/method/choices.py"
    assert not listed & set(NO_CHOICES)


def test_every_prior_of_the_mass_fit_is_listed() -> None:
    listed = {choice.path for choice in CHOICES}
    priors = "returns.arriving.sums.mass_hypotheses.Priors"
    assert {f"{priors}.{field.name}" for field in fields(Priors)} <= listed


def test_choices_show_the_number_that_acts() -> None:
    by_path = {choice.path: choice for choice in CHOICES}
    assert len(by_path) == len(CHOICES)
    for choice in CHOICES:
        assert str(choice.name).strip(), choice.path
        assert choice.value, choice.path
    factor = by_path["inventory.weighing.sums.weighing.COVERAGE_FACTOR"]
    assert float(factor.value) == COVERAGE_FACTOR
    assert not factor.may_be_changed
    mends = by_path["returns.models.Policy.mends_max"]
    assert int(mends.value) == Policy._meta.get_field("mends_max").default
    assert mends.may_be_changed
    assert mends.name == Policy._meta.get_field("mends_max").verbose_name
    assert by_path["returns.arriving.sums.mass_hypotheses.Priors.complete"].value == "0.791"

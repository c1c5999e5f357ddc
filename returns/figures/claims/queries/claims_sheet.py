"""What may be said in public about a span, with everything that stands behind it.

The counts that a claim needs are the workshop's own choice; local law decides what may be said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.utils.formats import number_format
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from inventory.models import Movement
from inventory.months.sums.calendar_month import Month
from inventory.wording import unbroken_factor
from returns.figures.circularity.queries.circularity import Circularity
from returns.figures.circularity.queries.judged import Judged, refusal_in_words
from returns.figures.circularity.sums.circularity import ShareInterval
from returns.figures.claims.sums import broad_words, claims
from returns.figures.claims.sums.claims import Claim, InputRefused, Subject, Verdict
from returns.figures.span.queries import index

MONTHS_MIN = 12
COUNT_MIN = 30
RUNS_MIN = 3
ISSUES_MIN = 3
WIDTH_PERCENT_MAX = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One statement of the sheet. Without a claim, `refused` says what its wording breaks."""

    key: str
    claim: Claim | None
    evidence_of: str
    sentence: str
    refused: str = ""
    spread: str = ""
    """The range in words, or why there is none."""

    @property
    def may_be_published(self) -> bool:
        return self.claim is not None and self.claim.verdict is Verdict.PUBLISHABLE


@dataclass(frozen=True, slots=True)
class _Draft:
    """What goes into a judgement."""

    key: str
    judged: Judged
    basis: str
    method: str
    excludes: tuple[str, ...]
    evidence: int
    evidence_min: int
    evidence_of: str
    width_max: float | None = None


def sheet(figures: Circularity) -> tuple[Line, ...]:
    """Judge every statement that the workshop could make over the period of the figures."""
    makers: tuple[Callable[[Circularity], _Draft], ...] = (
        _recycled_content,
        _closed_loop,
        _take_back,
        _repair_share,
        _recovery_yield,
    )
    drafts = [make(figures) for make in makers]
    short = _too_short(figures)
    return tuple(
        _refused(draft, short)
        if short and draft.key != "take_back_rate"
        else _line(draft, figures.scope, _period(draft, figures))
        for draft in drafts
    )


def _period(draft: _Draft, figures: Circularity) -> str:
    """Word the period. The take-back rate is of all sold so far: it has an end and no beginning."""
    months = {"first": figures.first_month, "last": figures.last_month}
    if draft.key == "take_back_rate":
        return _("up to %(last)s") % {"last": figures.counts.sold_until or figures.last_month}
    return _("%(first)s to %(last)s") % months


def _too_short(figures: Circularity) -> str:
    """Return why the period is too short for a claim; "" when it is not."""
    first, last = Month.parse(figures.first_month), Month.parse(figures.last_month)
    began = Movement.objects.order_by("number").values_list("month", flat=True).first()
    # A share of a month that somebody has chosen can be any share.
    if index(last) - index(first) + 1 >= MONTHS_MIN or not began or figures.first_month <= began:
        return ""
    message = _(
        "A claim covers at least %(months)s months, or all months since the books began in "
        "%(began)s. Choose them."
    )
    return message % {"months": MONTHS_MIN, "began": began}


def _refused(draft: _Draft, why: str) -> Line:
    return Line(key=draft.key, claim=None, evidence_of=draft.evidence_of, sentence="", refused=why)


def _line(draft: _Draft, scope: str, period: str) -> Line:
    try:
        subject = Subject(
            scope=_thing(draft.key, scope),
            basis=draft.basis,
            period=period,
            method=unbroken_factor(draft.method),
            excludes=draft.excludes,
        )
        claim = _judged(draft, subject)
        claims.refuse_all_or_nothing(claim)
        sentence = _(claim.template) % words(claim)
        # The sentence as it is read: a translation may not say more than its original.
        claims.refuse_broad_words(sentence)
    # A line that is refused is shown with its reason and takes none of the other lines down with
    # it.
    except InputRefused as error:
        return _refused(draft, refusal_in_words(error))
    return Line(
        key=draft.key,
        claim=claim,
        evidence_of=draft.evidence_of,
        sentence=sentence,
        spread=_spread(claim, draft.judged),
    )


def _spread(claim: Claim, judged: Judged) -> str:
    data = words(claim)
    # Compared as printed: a range that reads the same at both ends needs other words.
    if data["low"] != data["high"]:
        return f"{data['low']} – {data['high']} %"
    if judged.is_booked:
        return _("none: masses were booked that nobody weighed")
    return _("less than ± 0.1 percentage points")


def _how(judged: Judged, weighed: str) -> str:
    return _("by booked masses, not all of them weighed") if judged.is_booked else weighed


def has_word_list() -> bool:
    """Tell whether the reader's language has a list of words that claim too much."""
    return broad_words.has_list(get_language() or "en")


def words(claim: Claim) -> dict[str, str]:
    """Return the parameters of a sentence, its figures with the decimal sign of the language."""
    data = claim.params
    # A withheld claim has no figure, and an empty text is no number to format.
    figures = (name for name in ("figure", "low", "high") if data[name])
    return data | {name: number_format(data[name]) for name in figures}


def _thing(key: str, scope: str) -> str:
    if key in ("recycled_content", "closed_loop_share"):
        return _("%(scope)s, plastic of front and arms") % {"scope": scope}
    if key == "recovery_yield":
        return _("Plastic of returned frames, all models")
    return scope


def _judged(draft: _Draft, subject: Subject) -> Claim:
    share, missing = draft.judged.share, draft.judged.missing
    evidence, needed = draft.evidence, draft.evidence_min
    if share is None:
        # Nothing to publish: the count falls short of what the figure itself asks for.
        asked = missing.need if missing else 1
        needed = max(needed, asked)
        evidence = min(missing.have if missing else 0, needed - 1)
    return claims.judge(
        key=draft.key,
        subject=subject,
        figure_percent=100 * share.share if share else 0.0,
        interval_percent=_limits(share),
        evidence=evidence,
        evidence_min=needed,
        width_percent_max=draft.width_max,
    )


def _limits(share: ShareInterval | None) -> tuple[float, float]:
    return (100 * share.low, 100 * share.high) if share else (0.0, 0.0)


def _recycled_content(figures: Circularity) -> _Draft:
    content = figures.content
    return _Draft(
        "recycled_content",
        figures.recycled_content_traced,
        _on_whose_word(figures),
        _how(
            figures.recycled_content_traced,
            _("weighed post-consumer material over mass that entered moulding from outside, k = 2"),
        ),
        (_("screws"), _("lenses"), _("own in-process scrap")),
        content.issues,
        ISSUES_MIN,
        _("issues to moulding"),
    )


def _on_whose_word(figures: Circularity) -> str:
    """Word the basis, with the share of the mass that rests on what suppliers declare."""
    basis = _("average of the material issued to moulding, controlled blending")
    if not figures.on_suppliers_word:
        return basis
    share = number_format(f"{100 * figures.on_suppliers_word:.1f}")
    told = _("%(basis)s; %(share)s %% of it on the word of suppliers, not from our own weighing")
    return told % {"basis": basis, "share": share}


def _closed_loop(figures: Circularity) -> _Draft:
    return _Draft(
        "closed_loop_share",
        figures.closed_loop_traced,
        _("average of the material issued to moulding, controlled blending"),
        _how(
            figures.closed_loop_traced,
            _("weighed own returns over mass that entered moulding from outside, k = 2"),
        ),
        (_("screws"), _("lenses"), _("own in-process scrap")),
        figures.content.issues,
        ISSUES_MIN,
        _("issues to moulding"),
    )


def _take_back(figures: Circularity) -> _Draft:
    counts = figures.counts
    return _Draft(
        "take_back_rate",
        figures.take_back_of_sold,
        _("of %(sold)s units sold up to the last month whose sales are known")
        % {"sold": counts.sold_ever},
        _("counted, first returns only, score interval at 95 %"),
        (
            _("frames that came back a second time"),
            _("own rejects that were never sold"),
            _("spare screws posted"),
        ),
        counts.sold_ever,
        COUNT_MIN,
        _("sold units"),
        WIDTH_PERCENT_MAX,
    )


def _repair_share(figures: Circularity) -> _Draft:
    counts = figures.counts
    return _Draft(
        "repair_share",
        figures.repair_share,
        _("of %(ended)s returned frames mended, boxed to be ground, sent back or discarded")
        % {"ended": counts.ended},
        _("counted, score interval at 95 %"),
        (_("frames not decided yet"), _("frames of other makes")),
        counts.ended,
        COUNT_MIN,
        _("frames"),
        WIDTH_PERCENT_MAX,
    )


def _recovery_yield(figures: Circularity) -> _Draft:
    return _Draft(
        "recovery_yield",
        figures.recovery_yield,
        _("weighed over %(runs)s grind runs") % {"runs": figures.runs},
        _how(
            figures.recovery_yield,
            _("flake over mass from the boxes, uncertainty of the weighings, k = 2"),
        ),
        (_("lenses and screws taken off before grinding"),),
        figures.runs,
        RUNS_MIN,
        _("grind runs"),
        WIDTH_PERCENT_MAX,
    )

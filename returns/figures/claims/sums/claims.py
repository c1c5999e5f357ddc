"""What may be said in public, and what the evidence is too thin to say.

A claim carries its figure, interval, basis, period, scope, method, evidence and what it leaves out.
Where evidence is thin the judgement is "not enough evidence" and no figure leaves this module.
Sentences are message keys with parameters; a page translates and fills them, and local law decides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from inventory.wording import gettext_noop
from returns.figures.claims.sums import broad_words
from returns.refusals import Refused


class EvidenceError(Refused):
    """Root of what the sums over evidence refuse; each class has its own `code`."""

    code = "evidence_error"

    def __init__(self, template: str, **figures: object) -> None:
        super().__init__(type(self).code, template, **figures)


class InputRefused(EvidenceError):
    """The input breaks a rule of the method; the message says which and what to give instead."""

    code = "input_refused"


class NotEnoughEvidence(EvidenceError):
    """There are too few observations for the figure asked for.

    `have` and `need` are counts of the same thing, named by `of`.
    """

    code = "not_enough_evidence"

    def __init__(self, *, of: str, have: int, need: int) -> None:
        template = gettext_noop(
            "Not enough evidence: %(have)s %(of)s seen, %(need)s needed. Collect more first."
        )
        super().__init__(template, have=have, of=of, need=need)
        self.of = of
        self.have = have
        self.need = need


class Verdict(StrEnum):
    """Outcome of a judgement."""

    PUBLISHABLE = "publishable"
    NOT_ENOUGH_EVIDENCE = "not_enough_evidence"


# Each sentence names the thing, the share, the basis and the period: the wording rule.
SENTENCES: Mapping[str, str] = MappingProxyType(
    {
        "recycled_content": gettext_noop(
            "%(scope)s: %(figure)s %% post-consumer recycled by mass, %(basis)s, %(period)s. "
            "Not included: %(excludes)s."
        ),
        "take_back_rate": gettext_noop(
            "%(scope)s: %(figure)s %% came back to us (range %(low)s to %(high)s %%), "
            "%(basis)s, %(period)s. Not included: %(excludes)s."
        ),
        "repair_share": gettext_noop(
            "%(scope)s: %(figure)s %% were mended and sent back (range %(low)s to %(high)s %%), "
            "%(basis)s, %(period)s. Not included: %(excludes)s."
        ),
        "recovery_yield": gettext_noop(
            "%(scope)s: %(figure)s %% of the mass ground became usable flake "
            "(range %(low)s to %(high)s %%), %(basis)s, %(period)s. Not included: %(excludes)s."
        ),
        "closed_loop_share": gettext_noop(
            "%(scope)s: %(figure)s %% of the material by mass came from frames returned to us, "
            "%(basis)s, %(period)s. Not included: %(excludes)s."
        ),
        "not_enough_evidence": gettext_noop(
            "%(scope)s, %(period)s: not enough evidence to state a share yet "
            "(%(evidence)s of %(needed)s needed)."
        ),
    }
)

# Where both limits of the range read the same.
NARROW: Mapping[str, str] = MappingProxyType(
    {
        "recovery_yield": gettext_noop(
            "%(scope)s: %(figure)s %% of the mass ground became usable flake "
            "(less than ± 0.1 percentage points), %(basis)s, %(period)s. "
            "Not included: %(excludes)s."
        ),
    }
)

ALL_OR_NOTHING = frozenset({"0.0", "100.0"})

_ASKED = (
    ("scope", gettext_noop("A claim needs its scope: state it before publishing a figure.")),
    ("basis", gettext_noop("A claim needs its basis: state it before publishing a figure.")),
    ("period", gettext_noop("A claim needs its period: state it before publishing a figure.")),
    ("method", gettext_noop("A claim needs its method: state it before publishing a figure.")),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """What a claim is about: thing, basis of counting, period, method and what is left out."""

    scope: str
    basis: str
    period: str
    method: str
    excludes: tuple[str, ...]

    def __post_init__(self) -> None:
        for name, data in _ASKED:
            if not getattr(self, name).strip():
                raise InputRefused(data)
        if not any(item.strip() for item in self.excludes):
            raise InputRefused(
                gettext_noop("A claim must say what it does not cover, for example the screws.")
            )
        # Names come from the owner: a model called after a broad word would carry it into every
        # sentence.
        for text in (self.scope, self.basis, self.period, *self.excludes):
            refuse_broad_words(text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """One judged statement.

    `figure_percent` and `interval_percent` are None unless the verdict is publishable. `evidence`
    and `needed` are counts of the same kind of observation.
    """

    key: str
    verdict: Verdict
    subject: Subject
    figure_percent: float | None
    interval_percent: tuple[float, float] | None
    evidence: int
    needed: int

    @property
    def params(self) -> dict[str, str]:
        """Values for the sentence, as text with one decimal; join and translate at the page."""
        low, high = self.interval_percent or (None, None)
        return {
            "scope": self.subject.scope,
            "basis": self.subject.basis,
            "period": self.subject.period,
            "method": self.subject.method,
            "excludes": ", ".join(self.subject.excludes),
            "figure": _decimal_text(self.figure_percent),
            "low": _decimal_text(low),
            "high": _decimal_text(high),
            "evidence": str(self.evidence),
            "needed": str(self.needed),
        }

    @property
    def sentence_key(self) -> str:
        """Key into `SENTENCES` of the sentence that may be published."""
        if self.verdict is Verdict.PUBLISHABLE:
            return self.key
        return Verdict.NOT_ENOUGH_EVIDENCE.value

    @property
    def template(self) -> str:
        """The untranslated (English) sentence, to be filled with `params`."""
        data = self.params
        is_narrow = bool(data["low"]) and data["low"] == data["high"]
        narrow = NARROW.get(self.sentence_key) if is_narrow else None
        return narrow or SENTENCES[self.sentence_key]

    @property
    def sentence(self) -> str:
        """The untranslated (English) sentence, filled."""
        return self.template % self.params


def judge(
    *,
    key: str,
    subject: Subject,
    figure_percent: float,
    interval_percent: tuple[float, float] | None,
    evidence: int,
    evidence_min: int,
    width_percent_max: float | None = None,
) -> Claim:
    """Return the claim, with the figure only where the evidence carries it.

    `evidence_min` is the smallest count that may be published. `width_percent_max`, if given, is
    the widest interval that may be. A sentence that prints a range needs an interval. Both
    limits are the workshop's own choice, not a standard's.
    """
    # Checked before the verdict, so that a wrong call fails with thin evidence as well.
    _refuse_unusable(key, figure_percent, interval_percent, evidence_min)
    if evidence < evidence_min or _too_wide(interval_percent, width_percent_max):
        return _withheld(key, subject, evidence, evidence_min)
    return Claim(
        key=key,
        verdict=Verdict.PUBLISHABLE,
        subject=subject,
        figure_percent=figure_percent,
        interval_percent=interval_percent,
        evidence=evidence,
        needed=evidence_min,
    )


def refuse_broad_words(text: str) -> None:
    """Raise InputRefused when a text makes a broad claim such as "circular", "eco" or "neutral"."""
    word = broad_words.found_in(text)
    if word:
        raise InputRefused(
            gettext_noop(
                "The word “%(word)s” claims more than a share can prove: say the thing, the share, "
                "the basis and the period instead."
            ),
            word=word,
        )


def refuse_all_or_nothing(claim: Claim) -> None:
    """Raise InputRefused when the figure, as it is printed, says all or nothing.

    "100.0 %" reads as a certainty that no weighing gives, and "0.0 %" as a promise of none.
    """
    if claim.params["figure"] in ALL_OR_NOTHING:
        raise InputRefused(
            gettext_noop(
                "Rounded, this says all or nothing. It may be true and still misleads: say what is "
                "in the material, with its suppliers, instead of a share."
            )
        )


def _refuse_unusable(
    key: str, figure: float, interval: tuple[float, float] | None, evidence_min: int
) -> None:
    if key not in SENTENCES or key == Verdict.NOT_ENOUGH_EVIDENCE.value:
        raise InputRefused(gettext_noop("There is no approved sentence for this claim."))
    if evidence_min < 1:
        raise InputRefused(gettext_noop("The smallest evidence count must be at least 1."))
    if interval is None and "%(low)s" in SENTENCES[key]:
        raise InputRefused(
            gettext_noop("This sentence prints a range: give the interval with the figure.")
        )
    # A claim without a range has one of no width for this check.
    low, high = interval or (figure, figure)
    if not 0 <= low <= figure <= high <= 100:
        raise InputRefused(
            gettext_noop("The figure must be 0 to 100 percent and lie inside its interval.")
        )


def _too_wide(interval: tuple[float, float] | None, width_percent_max: float | None) -> bool:
    if interval is None or width_percent_max is None:
        return False
    return interval[1] - interval[0] > width_percent_max


def _withheld(key: str, subject: Subject, evidence: int, needed: int) -> Claim:
    return Claim(
        key=key,
        verdict=Verdict.NOT_ENOUGH_EVIDENCE,
        subject=subject,
        # Not even in the object: what is not there cannot be printed by mistake.
        figure_percent=None,
        interval_percent=None,
        evidence=evidence,
        needed=needed,
    )


def _decimal_text(percent: float | None) -> str:
    return "" if percent is None else f"{percent:.1f}"

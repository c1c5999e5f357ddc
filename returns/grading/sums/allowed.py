"""Which remedies may be used on a finding, and why the others may not.

A remedy is refused for good (a limit) or for now (something is not measured yet): the first leads
to regrind, the second to a person at the bench.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from returns.grading.sums.facts import Finding, FrameFacts, Limits, Remedy
from returns.grading.sums.wording import Reason, reason

FOR_NOW: Final = frozenset({"not-measured", "severity-not-noted", "wall-not-measured"})


@dataclass(frozen=True, slots=True)
class Refusal:
    """A remedy that may not be used on a finding."""

    finding: Finding
    remedy: Remedy
    reason: Reason

    @property
    def is_for_now(self) -> bool:
        """Whether noting a missing fact could still lift the refusal."""
        return self.reason.key in FOR_NOW


@dataclass(frozen=True, slots=True)
class Choice:
    """A finding with the remedies that may be used on it and those that may not."""

    finding: Finding
    remedies: tuple[Remedy, ...]
    refusals: tuple[Refusal, ...]

    def blocked_because(self) -> Reason | None:
        """Return why no remedy is left, or None when one is."""
        if self.remedies:
            return None
        if any(refusal.is_for_now for refusal in self.refusals):
            key = "needs-measuring"
        else:
            key = "no-allowed-remedy" if self.refusals else "no-remedy"
        return reason(key, defect=self.finding.defect_key, component=self.finding.component_key)


def choices(
    findings: Iterable[Finding],
    remedies: Iterable[Remedy],
    frame: FrameFacts,
    limits: Limits,
) -> tuple[Choice, ...]:
    """Sort the remedies for each finding into those allowed and those refused, in their order."""
    offered = tuple(remedies)
    return tuple(_choice(finding, offered, frame, limits) for finding in findings)


def _choice(
    finding: Finding, remedies: tuple[Remedy, ...], frame: FrameFacts, limits: Limits
) -> Choice:
    allowed: list[Remedy] = []
    refused: list[Refusal] = []
    for remedy in remedies:
        if not remedy.answers(finding):
            continue
        found = list(_objections(finding, remedy, frame, limits))
        # One objection for good outweighs any number for now.
        found.sort(key=lambda objection: objection.key in FOR_NOW)
        if found:
            refused.append(Refusal(finding, remedy, found[0]))
        else:
            allowed.append(remedy)
    return Choice(finding, tuple(allowed), tuple(refused))


def _objections(
    finding: Finding, remedy: Remedy, frame: FrameFacts, limits: Limits
) -> Iterator[Reason]:
    yield from _banned(finding, remedy, limits)
    yield from _beyond_measure(finding, remedy, limits)
    yield from _too_severe(finding, remedy)
    yield from _tried_enough(remedy, frame)
    yield from _wall_too_thin(remedy, frame)


def _banned(finding: Finding, remedy: Remedy, limits: Limits) -> Iterator[Reason]:
    for ban in limits.bans:
        if (ban.defect_key, ban.method) == (finding.defect_key, remedy.method):
            yield reason("banned-method", method=ban.method, defect=ban.defect_key)


def _beyond_measure(finding: Finding, remedy: Remedy, limits: Limits) -> Iterator[Reason]:
    for limit in limits.measured:
        if limit.defect_key != finding.defect_key or remedy.method in limit.still_allowed:
            continue
        if finding.measured_mm is None:
            yield reason(
                "not-measured",
                defect=finding.defect_key,
                component=finding.component_key,
                remedy=remedy.key,
            )
        # The limit itself is out: from there on only `still_allowed` is left.
        elif finding.measured_mm >= limit.limit_mm:
            yield reason(
                "beyond-measured-limit",
                defect=finding.defect_key,
                measured_mm=str(finding.measured_mm),
                limit_mm=str(limit.limit_mm),
                allowed=", ".join(sorted(limit.still_allowed)) or "nothing",
            )


def _too_severe(finding: Finding, remedy: Remedy) -> Iterator[Reason]:
    if remedy.severity_max is None:
        return
    if finding.severity is None:
        yield reason("severity-not-noted", defect=finding.defect_key, remedy=remedy.key)
    elif finding.severity > remedy.severity_max:
        yield reason(
            "too-severe",
            remedy=remedy.key,
            severity=finding.severity,
            limit=remedy.severity_max,
        )


def _tried_enough(remedy: Remedy, frame: FrameFacts) -> Iterator[Reason]:
    times = frame.times_done.get(remedy.key, 0)
    if remedy.times_max is not None and times >= remedy.times_max:
        yield reason("tried-enough", remedy=remedy.key, times=times, limit=remedy.times_max)


def _wall_too_thin(remedy: Remedy, frame: FrameFacts) -> Iterator[Reason]:
    if remedy.wall_min_mm is None:
        return
    wall_mm = frame.wall_mm.get(remedy.component_key)
    if wall_mm is None:
        yield reason("wall-not-measured", component=remedy.component_key, remedy=remedy.key)
    # Here the limit itself still does: it is the least wall that is enough.
    elif wall_mm < remedy.wall_min_mm:
        yield reason(
            "wall-too-thin",
            component=remedy.component_key,
            wall_mm=str(wall_mm),
            remedy=remedy.key,
            limit_mm=str(remedy.wall_min_mm),
        )

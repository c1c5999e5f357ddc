"""The generated parts of the documents: between two markers, from the program itself.

    python -m tests.docs.blocks

writes them anew. The benchmarks' figures are not among them: they belong to one run on one machine.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Any

from inventory.ledger.sums.recipes import KINDS, Kind
from returns.story.sums import states
from tests.access import asvs
from tests.docs import published, rooms

ROOT = Path(__file__).resolve().parents[2]
README, DEVELOPERS = ROOT / "README.md", ROOT / "DEVELOPERS.md"
OPERATING = ROOT / "deploy" / "README.md"
TESTS = ROOT / "tests" / "README.md"
CHECKS = ROOT / "tests" / "reference" / "README.md"
BENCHMARKS = ROOT / "tests" / "benchmarks" / "README.md"
WALKS = ROOT / "tests" / "browser" / "README.md"
SECURITY = ROOT / "deploy" / "SECURITY.md"
DOCUMENTS = (README, DEVELOPERS, OPERATING, TESTS, CHECKS, BENCHMARKS, WALKS, SECURITY)


def block(text: str, name: str) -> str:
    """What stands between the markers of a name."""
    found = re.search(rf"<!-- {name} -->\n(.*?)\n?<!-- /{name} -->", text, re.DOTALL)
    if found is None:
        raise LookupError(f"no markers for {name}")
    return found[1]


def filled(text: str, name: str, content: str) -> str:
    """The text with what stands between the markers replaced."""
    block(text, name)
    marked = rf"(<!-- {name} -->\n).*?(<!-- /{name} -->)"
    return re.sub(marked, lambda m: f"{m[1]}{content}\n{m[2]}", text, flags=re.DOTALL)


def state_tables() -> str:
    """One heading for each table, one line for each state."""
    parts = [_drawn("frame", states.FRAME_STEPS, states.FRAME_STARTS)]
    parts += [
        _drawn(f"request, {kind.value}", steps, states.REQUEST_STARTS[kind])
        for kind, steps in states.REQUEST_STEPS.items()
    ]
    return "```\n" + "\n\n".join(parts) + "\n```"


def _drawn(title: str, steps: states.Steps[Any], starts: Collection[StrEnum]) -> str:
    width = max(len(state.value) for state in steps)
    lines = [title]
    for state, followers in steps.items():
        mark = "*" if state in starts else " "
        after = ", ".join(sorted(follower.value for follower in followers)) or "(ends here)"
        lines.append(f"  {mark} {state.value:<{width}} -> {after}")
    return "\n".join(lines)


def kinds_table() -> str:
    """Every kind of movement with its answers."""
    heads = ("kind", "what happened", "counts in", "step of its cost", "undone alone", "drawn")
    rows = [heads, ("---",) * len(heads), *(_kind(name, row) for name, row in KINDS.items())]
    return "\n".join(f"| {' | '.join(row)} |" for row in rows)


def _kind(name: str, row: Kind) -> tuple[str, ...]:
    ends = [counted for leg in row.legs for _kind, counted in leg.ends if counted is not None]
    columns = dict.fromkeys(
        column
        for counted in ends
        for column in ([counted] if isinstance(counted, str) else counted.values())
    )
    yes = ("yes" if answer else "–" for answer in (row.alone, row.drawn))
    return (f"`{name}`", row.means, ", ".join(columns) or "–", row.worth_step or "–", *yes)


GENERATED: tuple[tuple[Path, str, Callable[[], str]], ...] = (
    (CHECKS, "published", published.table),
    (DEVELOPERS, "states", state_tables),
    (DEVELOPERS, "inventory", partial(rooms.table, ROOT / "inventory")),
    (DEVELOPERS, "returns", partial(rooms.table, ROOT / "returns")),
    (DEVELOPERS, "kinds", kinds_table),
    (SECURITY, "asvs", asvs.table),
)


def main() -> None:
    for path, name, make in GENERATED:
        text = path.read_text(encoding="utf-8")
        path.write_text(filled(text, name, make()), encoding="utf-8")


if __name__ == "__main__":
    main()

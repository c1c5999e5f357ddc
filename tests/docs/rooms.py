"""The map of a house: each story with what it is for and its files, floor by floor.

What a story or a file is for is the first sentence of its docstring, so the map cannot be behind
the code.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

FLOORS = ("sums", "queries", "rules", "pages", "api")
# What has no floors: shared by every story, or laid out as its framework wants it.
GROUND = {
    "models",
    "furniture",
    "charts",
    "urls",
    "method",
    "migrations",
    "templatetags",
    "templates",
    "static",
    "locale",
}


def told(path: Path) -> str:
    """The first sentence of a module's docstring."""
    words = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return words.split("\n\n")[0].replace("\n", " ").rstrip(".")


def stories(house: Path) -> Iterator[Path]:
    """The stories of a house, and the stories that stand inside one."""
    for folder in sorted(path.parent for path in house.glob("*/__init__.py")):
        if folder.name not in GROUND:
            yield folder
            yield from sorted(
                path.parent
                for path in folder.glob("*/__init__.py")
                if path.parent.name not in {*FLOORS, *GROUND, "reports"}
            )


def files(folder: Path, floor: str) -> str:
    """What a floor of a story holds: its file, or the files of its folder."""
    if (folder / f"{floor}.py").exists():
        return f"`{floor}.py`"
    inside = sorted(path.stem for path in (folder / floor).rglob("*.py"))
    return ", ".join(f"`{name}`" for name in inside if name != "__init__")


def table(house: Path) -> str:
    """One row a story: what it is for, and its files on each floor."""
    rows = [
        f"| story | what it is for | {' | '.join(FLOORS)} |",
        f"|---|---|{'---|' * len(FLOORS)}",
    ]
    for folder in stories(house):
        cells = " | ".join(files(folder, floor) for floor in FLOORS)
        name = folder.relative_to(house).as_posix()
        rows.append(f"| `{name}/` | {told(folder / '__init__.py')} | {cells} |")
    rows.append("")
    rows += [
        f"- `{path.name}`: {told(path)}"
        for path in sorted(house.glob("*.py"))
        if path.name not in {"__init__.py", "apps.py"}
    ]
    return "\n".join(rows)

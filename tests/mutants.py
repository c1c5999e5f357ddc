"""Plants faults in the core, one at a time, and names those that no test notices.

`python -m tests.mutants [PATTERN]` works on a copy under `var/mutants/` and goes on where it was
broken off. The modules and their tests are listed in `pyproject.toml`, under `tool.mutmut`. A fault
that changes nothing is explained in `tests/mutants.txt`; any other that lives makes the run fail.
`HINGEBACK_MUTANTS_AT_ONCE` says how many processes try them: 2, and 1 where others work too.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
COPY = ROOT / "var" / "mutants"
EXPLAINED = ROOT / "tests" / "mutants.txt"
_HERE = "--here"
_ATOMIC = re.compile(r"^@transaction\.atomic\n(?=def (\w+))", re.MULTILINE)
_SURVIVED = re.compile(r"^\s+(\S+): (survived|no tests)$", re.MULTILINE)


def main(patterns: list[str]) -> int:
    listed = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    modules = listed["tool"]["mutmut"]["only_mutate"]
    missing = [path for path in modules if not (ROOT / path).is_file()]
    if missing:
        print("Not there any more, see tool.mutmut in pyproject.toml:", *missing)
        return 2
    _copy(modules)
    at_once = os.environ.get("HINGEBACK_MUTANTS_AT_ONCE", "2")
    ran = _mutmut("run", "--max-children", at_once, *patterns, shown=True)
    if ran.returncode:
        return ran.returncode
    left = [name for name, _how in _SURVIVED.findall(_mutmut("results").stdout)]
    known = explained(EXPLAINED.read_text(encoding="utf-8"))
    unknown = [shown for name in left if (shown := _shown(name)) not in known]
    print(f"{len(left)} faults live, {len(left) - len(unknown)} of them explained.")
    print(*unknown, sep="\n")
    return 1 if unknown else 0


def explained(text: str) -> set[str]:
    """Lines of the file that name a fault: function, then the line as it was planted."""
    return {line.strip() for line in text.splitlines() if line.startswith("    ")}


def _copy(modules: list[str]) -> None:
    """Files that did not change keep their time, so that mutmut keeps what it knows of them."""
    for name in _git("ls-files").splitlines():
        source, target = ROOT / name, COPY / name
        if not source.is_file():
            continue
        data = source.read_bytes()
        if name in modules:
            data = _undecorated(data.decode()).encode()
        if not target.is_file() or target.read_bytes() != data:
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(data)


def _undecorated(code: str) -> str:
    """Write the decorator as an assignment: mutmut leaves decorated functions alone."""
    names = _ATOMIC.findall(code)
    ends = "".join(f"\n\n{name} = transaction.atomic({name})\n" for name in names)
    return _ATOMIC.sub("", code) + ends


def _shown(name: str) -> str:
    """Function and planted line: a number would change with each edit of the function."""
    diff = _mutmut("show", name).stdout.splitlines()
    planted = [line[1:].strip() for line in diff if line[:1] == "+" and line[:3] != "+++"]
    function = name.rpartition(".")[2].partition("__mutmut_")[0].removeprefix("x_")
    return f"{function}: {' '.join(planted)}"


def _mutmut(*words: str, shown: bool = False) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "tests.mutants", _HERE, *words],
        cwd=COPY,
        env=os.environ | {"PYTHONDONTWRITEBYTECODE": "1"},
        stdout=None if shown else subprocess.PIPE,
        text=True,
        check=False,
    )


def _tried_here(words: list[str]) -> int:
    """Let mutmut work in this folder, and ask the quickest test first.

    Most faults are noticed by many tests, and the run of a fault ends with the first of them.
    """
    from mutmut.__main__ import cli
    from mutmut.runners.harness import PytestRunner
    from mutmut.state import state

    asked = PytestRunner._pytest_args_regular_run

    def sorted_first(self: PytestRunner, tests: Iterable[str]) -> list[str]:
        took = state().duration_by_test
        return asked(self, sorted(tests, key=lambda name: (took.get(name, 0), name)))

    PytestRunner._pytest_args_regular_run = sorted_first
    return int(cli(words, standalone_mode=False) or 0)


def _git(*words: str) -> str:
    return subprocess.run(
        ["git", *words], cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True
    ).stdout


if __name__ == "__main__":
    sys.exit(_tried_here(sys.argv[2:]) if sys.argv[1:2] == [_HERE] else main(sys.argv[1:]))

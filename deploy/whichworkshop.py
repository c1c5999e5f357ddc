"""Which workshop a command acts on: found before the settings are read, said before it acts.

Knows the two folders that `up.sh` makes, `var/` for the demo and `own/` for one's own workshop.
What a person types must never act on the wrong one, or on none, and end as if all were well.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

ROOT = Path(sys.argv[0]).absolute().parent
DATABASE = "hingeback.sqlite3"
_FLAGS = {"--own": "own", "--demo": "var"}

# These touch nobody's data. Every other command acts on a workshop.
_NEUTRAL = frozenset(
    (
        *("help", "version", "--version", "check", "collectstatic", "compilemessages"),
        *("diffsettings", "findstatic", "makemessages", "makemigrations", "rehearse"),
        *("spectacular", "startapp", "test"),
    )
)
# These make the data: there may be no database yet, or no table in it.
_MAKING = frozenset({"migrate", "prepare", "restore", "showmigrations", "sqlmigrate", "dbshell"})
# These would tell a comforting tale of nothing.
_NEEDS_DATA = frozenset({"backup", "changepassword", "checkledger", "monthreport"})


class WrongWorkshop(Exception):
    """The command cannot act; `code` is the exit code: 2 when a person must choose."""

    def __init__(self, message: str, code: int = 1) -> None:
        super().__init__(message)
        self.code = code


def acts(words: list[str]) -> bool:
    """Whether this command line acts on a workshop at all."""
    return len(words) > 1 and words[1] not in _NEUTRAL and not {"-h", "--help"} & set(words)


def choose(words: list[str]) -> list[str]:
    """Set the data folder for the settings to read. Returns the words without our own flags."""
    rest = [word for word in words if word not in _FLAGS]
    if not acts(words):
        return rest
    flags = [word for word in words if word in _FLAGS]
    if os.environ.get("HINGEBACK_DATA_DIR"):
        if flags:
            raise WrongWorkshop(
                f"HINGEBACK_DATA_DIR names the folder already: leave out {flags[0]}.", 2
            )
    elif flags or not os.environ.get("HINGEBACK_DATABASE_URL"):
        os.environ["HINGEBACK_DATA_DIR"] = str(ROOT / _folder(flags, rest[1]))
    _must_exist(rest[1])
    return rest


def _folder(flags: list[str], command: str) -> str:
    if len(set(flags)) > 1:
        raise WrongWorkshop("Choose one of --own and --demo.", 2)
    if flags:
        return _FLAGS[flags[0]]
    if command == "restore":
        return "own"  # of what is restored there is nothing here yet
    there = [name for name in _FLAGS.values() if (ROOT / name / DATABASE).exists()]
    if len(there) > 1:
        raise WrongWorkshop(
            "Both the demo (var/) and a workshop of your own (own/) are here. Nothing was done.\n"
            "Say which: put --own or --demo behind the command, or set HINGEBACK_DATA_DIR.",
            2,
        )
    return there[0] if there else "var"


def _must_exist(command: str) -> None:
    """Refuse before the settings make a folder and a key where nobody has a workshop."""
    if command in _MAKING or command == "loaddemo" or os.environ.get("HINGEBACK_DATABASE_URL"):
        return
    database = Path(os.environ["HINGEBACK_DATA_DIR"]) / DATABASE
    if not database.exists():
        raise WrongWorkshop(
            f"There is no workshop in {database.parent}. Start one with deploy/up.sh, "
            "or name the folder of yours in HINGEBACK_DATA_DIR."
        )


def announce(words: list[str]) -> None:
    """Say on the error stream which workshop this is. Refuse one without tables, or empty."""
    if not acts(words) or words[1] == "restore":
        return  # which looks first, by itself: opening an SQLite database would make one
    import django
    from django.db import OperationalError, connection

    django.setup()
    try:
        tables = connection.introspection.table_names()
        kind = _kind() if _is_migrated(tables) else ""
    except OperationalError as error:
        data = str(error).strip().splitlines()[0]
        raise WrongWorkshop(f"The database {_database()} does not answer: {data}") from error
    sys.stderr.write(f"Workshop: {kind or _unread(tables)}, in the database {_database()}\n")
    sys.stderr.flush()
    # A copy is made before an upgrade too, and is proved by upgrading the copy.
    if words[1] == "backup" and "inventory_workshop" in tables and not kind:
        return
    if words[1] not in _MAKING and not kind:
        raise WrongWorkshop(
            "This database has no tables of this version. Run: python manage.py migrate"
        )
    if words[1] in _NEEDS_DATA and _is_empty():
        raise WrongWorkshop(
            f"This workshop is empty: nobody can sign in and nothing is booked, so {words[1]} "
            "has nothing to act on. Is it the right one? See HINGEBACK_DATA_DIR."
        )


def _unread(tables: list[str]) -> str:
    return "of an older version" if "inventory_workshop" in tables else "none yet"


def _is_migrated(tables: list[str]) -> bool:
    """Whether the tables are those of this version of the program."""
    from django.db import connection
    from django.db.migrations.executor import MigrationExecutor

    if "inventory_workshop" not in tables:
        return False
    # Tables of an older version would let the command begin and fail in the middle.
    executor = MigrationExecutor(connection)
    return not executor.migration_plan(executor.loader.graph.leaf_nodes())


def _kind() -> str:
    from inventory.models import Workshop

    row = Workshop.objects.filter(pk=1).first()
    name = row.name if row else "not named yet"
    return f"“{name}”, {'the demo' if row and row.demo else 'your own'}"


def _database() -> str:
    from django.db import connection

    facts = connection.settings_dict
    if connection.vendor == "sqlite":
        return str(facts["NAME"])
    return f"{facts['NAME']} at {facts['HOST'] or 'this machine'}:{facts['PORT'] or 5432}"


def _is_empty() -> bool:
    from django.contrib.auth.models import User

    from inventory.models import Event, Movement

    return not any(table.objects.exists() for table in (User, Event, Movement))

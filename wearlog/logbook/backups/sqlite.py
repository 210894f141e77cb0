"""Copying an SQLite database while others write to it, and inspecting such a file."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import quote

from wearlog.logbook.backups.refusals import BackupRefused, InUse

PATIENCE_S = 20.0
VERSION = sqlite3.sqlite_version


def _connect(path: Path, patience_s: float = PATIENCE_S) -> sqlite3.Connection:
    """Open the file without creating it."""
    return sqlite3.connect(f"file:{quote(str(path))}?mode=rw", uri=True, timeout=patience_s)


def copy(source: Path, target: Path) -> None:
    """Copy a snapshot of the database into one file while others read and write. Raises BackupRefused where
    it can't be read or is damaged, as a damaged backup must not push out good ones."""
    target.touch(mode=0o600)
    try:
        with closing(_connect(source)) as live, closing(_connect(target)) as made:
            live.backup(made, pages=-1)  # in one step: otherwise each write by others restarts it
            made.execute("PRAGMA journal_mode=DELETE")  # no `-wal` file beside it
            free, pages = (_number(made, f"PRAGMA {name}") for name in ("freelist_count", "page_count"))
            if free > pages // 10:
                made.execute("VACUUM")
            found = _one(made, "PRAGMA integrity_check")
    except sqlite3.Error as error:
        raise BackupRefused(f"The database {source} can't be copied: {error}.") from error
    if found != "ok":
        raise BackupRefused(
            f"The database {source} is damaged ({str(found).splitlines()[0]}), so no backup was made of it: "
            "stop Wearlog and restore the last good backup."
        )


@contextmanager
def open_unchanged(path: Path) -> Iterator[sqlite3.Connection]:
    """Open the file for reading; raises BackupRefused where it is no database."""
    try:
        with closing(_connect(path)) as connection:
            yield connection
    except sqlite3.Error as error:
        raise BackupRefused(f"{path.name} can't be read as an SQLite database: {error}.") from error


def is_whole(connection: sqlite3.Connection) -> bool:
    """Whether all pages, indexes and constraints are intact and every foreign key has its row."""
    if _one(connection, "PRAGMA integrity_check") != "ok":
        return False
    return connection.execute("PRAGMA foreign_key_check").fetchone() is None


def rows(connection: sqlite3.Connection) -> dict[str, int]:
    """How many rows each table has."""
    named = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
    )
    tables = sorted(str(name) for (name,) in named)
    counting = "SELECT count(*) FROM "
    return {name: _number(connection, counting + quoted(name)) for name in tables}


def schema(connection: sqlite3.Connection) -> list[str]:
    """The migrations that were applied, as `app.name`."""
    found = connection.execute("SELECT app, name FROM django_migrations ORDER BY app, name")
    return [f"{app}.{name}" for app, name in found]


def photo_names(connection: sqlite3.Connection) -> list[str]:
    """The file names of all photos; none where the table does not exist yet."""
    if not _one(connection, "SELECT count(*) FROM sqlite_master WHERE name = 'service_photo'"):
        return []
    return [str(name) for (name,) in connection.execute("SELECT name FROM service_photo ORDER BY name")]


def close_for_good(path: Path) -> bool:
    """Merge the write-ahead log into the file. Raises InUse where another program has it open. False where
    the file can't be read, so that its `-wal` file must be moved with it."""
    if not path.exists():
        return True
    try:
        with closing(_connect(path, 2.0)) as connection:
            return _one(connection, "PRAGMA journal_mode=DELETE") == "delete"
    except sqlite3.OperationalError as error:
        if "locked" in str(error) or "busy" in str(error):
            raise InUse(
                f"Another program has the database {path} open: stop everything that uses it, and try again."
            ) from error
        return False
    except sqlite3.Error:
        return False


def quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _one(connection: sqlite3.Connection, statement: str) -> object:
    found: object = connection.execute(statement).fetchone()[0]
    return found


def _number(connection: sqlite3.Connection, statement: str) -> int:
    found = _one(connection, statement)
    assert isinstance(found, int)
    return found

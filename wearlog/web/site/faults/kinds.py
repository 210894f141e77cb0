"""Classifies errors by what people can do about them."""

from __future__ import annotations

import errno
import gc
import sqlite3
import traceback
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import psycopg
from django.db import Error
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from wearlog.people import disk, upgrades

NOTHING_SAVED: Final = _("Nothing was saved. What was saved before is still there.")
NOTE_IT_DOWN: Final = _("Note down what you typed, and send it again once this is mended.")


@dataclass(frozen=True)
class Kind:
    """A kind of error. `name` is for scripts and the log. `heading`, `happened`, `saved` and `do` are
    sentences for people; `do` tells them what to do, `ask` what the person who runs the server should do."""

    name: str
    status: int
    heading: Promise
    happened: Promise
    saved: Promise = NOTHING_SAVED
    do: Promise = NOTE_IT_DOWN
    ask: Promise | str = ""
    retry_after_s: int | None = None


AWAY = Kind(
    "database_away",
    503,
    heading=_("The log can't be reached"),
    happened=_("The database of this site does not answer."),
    do=_("Note down what you typed, and send it again in a minute."),
    ask=_(
        "If it lasts, tell whoever runs this server: see whether the database server runs and the "
        "settings name it."
    ),
    retry_after_s=30,
)
LOST = Kind(
    "database_lost",
    503,
    heading=_("The database broke off"),
    happened=_("The connection to the database was lost in mid-work."),
    saved=_("Most likely nothing was saved. What was saved before is still there."),
    do=_("Note down what you typed, and look in the log whether it is there before you send it again."),
    ask=_("If it happens twice, tell whoever runs this server: the log of the server says more."),
    retry_after_s=10,
)
BUSY = Kind(
    "database_busy",
    503,
    heading=_("The log is busy"),
    happened=_("Somebody else has been saving for too long, an import perhaps."),
    do=_("Go back, and send it again in a minute."),
    retry_after_s=10,
)
FULL = Kind(
    "disk_full",
    507,
    heading=_("The disk is full"),
    happened=_("The machine that keeps the log has no room left on its disk."),
    ask=_("Tell whoever runs this server to make room on the disk."),
    retry_after_s=60,
)
READ_ONLY = Kind(
    "read_only",
    503,
    heading=_("The log can only be read"),
    happened=_("The machine that keeps the log does not let it be written to."),
    ask=_(
        "Tell whoever runs this server: data folder and database must belong to the user that Wearlog runs "
        "as, on a disk that can be written to."
    ),
    retry_after_s=60,
)
DAMAGED = Kind(
    "database_damaged",
    503,
    heading=_("The log is damaged"),
    happened=_("The database can't be read as it should be: its file or its disk is damaged."),
    saved=_("Nothing was saved."),
    do=_("Write on paper what you do until this is mended."),
    ask=_(
        "Tell whoever runs this server: stop Wearlog, keep the damaged file as it is, and put the last "
        "backup back."
    ),
    retry_after_s=300,
)
BEHIND = Kind(
    "migrations_wait",
    503,
    heading=_("The site was upgraded, its database not yet"),
    happened=_("The database lacks what this version of the program needs."),
    ask=_("Tell whoever runs this server to run manage.py migrate, which makes a backup first."),
    retry_after_s=60,
)
BROKEN = Kind(
    "broken",
    500,
    heading=_("Something broke on our side"),
    happened=_("The entry was not saved, or the page could not be made."),
    saved=_("What was saved before is still there."),
    do=_("Go back, note down what you typed, and try again."),
    ask=_("If it happens twice, tell whoever runs this server: the log of the server says what went wrong."),
)

NOT_UNDERSTOOD = Kind(
    "not_understood",
    400,
    heading=_("That can't be taken"),
    happened=_("What was sent can't be understood, or your sign-in ended meanwhile."),
    saved=_("Nothing was saved."),
    do=_("Go back, load the page again and send it once more."),
)

SQLITE: Final = {
    sqlite3.SQLITE_FULL: FULL,
    sqlite3.SQLITE_READONLY: READ_ONLY,
    sqlite3.SQLITE_PERM: READ_ONLY,
    sqlite3.SQLITE_CORRUPT: DAMAGED,
    sqlite3.SQLITE_NOTADB: DAMAGED,
    sqlite3.SQLITE_IOERR: DAMAGED,
    sqlite3.SQLITE_NOLFS: FULL,
    sqlite3.SQLITE_CANTOPEN: AWAY,
    sqlite3.SQLITE_BUSY: BUSY,
    sqlite3.SQLITE_LOCKED: BUSY,
}
"""Kinds by SQLite's primary result code (sqlite.org/rescode.html)."""

BESIDE: Final = {sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY}
"""SQLite's message where it can't create the files beside the database, whatever the reason."""

POSTGRESQL: Final = {
    "53100": FULL,
    "53": AWAY,  # out of memory or of connections
    "25006": READ_ONLY,
    "XX001": DAMAGED,
    "XX002": DAMAGED,
    "58030": DAMAGED,
    "57P03": AWAY,  # starting up or shutting down
    "3D000": AWAY,  # no such database
    "28": AWAY,  # authentication failed
    "55P03": BUSY,
    "40": BUSY,  # deadlock or serialization failure
}
"""Kinds by SQLSTATE, else by its class (PostgreSQL's documentation, appendix A)."""

LACKS: Final = {"42P01", "42703"}  # no such table, no such column
SYSTEM: Final = {errno.ENOSPC: FULL, errno.EDQUOT: FULL, errno.EROFS: READ_ONLY}


def kind_of(error: BaseException | None) -> Kind:
    """The first kind that matches the error or one of its causes; BROKEN where none does."""
    for one in chain(error):
        kind = _of_one(one)
        if kind is not None:
            return kind
    return BROKEN


def chain(error: BaseException | None) -> Iterator[BaseException]:
    """The error and its causes."""
    seen: set[int] = set()
    while error is not None and id(error) not in seen:
        seen.add(id(error))
        yield error
        error = error.__cause__ or (None if error.__suppress_context__ else error.__context__)


def release_frames(error: BaseException) -> None:
    """Clear the local variables of the error's traceback frames.

    An SQLite connection whose set-up failed is referenced only by these frames and by itself, and would keep
    its files open until the garbage collector runs. With several for each failing page, the process would
    soon run out of file descriptors.
    """
    for one in chain(error):
        traceback.clear_frames(one.__traceback__)
    if any(isinstance(one, sqlite3.Error) for one in chain(error)):
        gc.collect()


def _of_one(error: BaseException) -> Kind | None:
    if isinstance(error, Error):
        return _of_connection(error)
    if isinstance(error, sqlite3.Error):
        return _of_sqlite(error)
    if isinstance(error, psycopg.Error):
        return _of_postgresql(error)
    return SYSTEM.get(error.errno or 0) if isinstance(error, OSError) else None


def _of_connection(error: Error) -> Kind | None:
    """The kind of an error raised by Django itself; None where it wraps an error of the database driver."""
    if error.__cause__ is None and "connection" in str(error) and "closed" in str(error):
        return LOST
    return None


def _of_sqlite(error: sqlite3.Error) -> Kind | None:
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_OK) & 0xFF
    kind = SQLITE.get(code)
    if code == sqlite3.SQLITE_ERROR and str(error).startswith(("no such table", "no such column", "table ")):
        return _behind()
    return _of_the_file() or kind if code in BESIDE else kind


def _of_the_file() -> Kind | None:
    """Why SQLite could not create, write or extend a file; its error does not tell, so the system is
    asked."""
    file = disk.database_file()
    if file is not None and disk.free_mb(file.parent) == 0:
        return FULL
    return None if disk.database_can_be_written() else READ_ONLY


def _of_postgresql(error: psycopg.Error) -> Kind | None:
    state = error.sqlstate or ""
    if state in LACKS:
        return _behind()
    kind = POSTGRESQL.get(state) or POSTGRESQL.get(state[:2])
    if kind is not None:
        return kind
    if state[:2] in ("08", "57") or (not state and isinstance(error, psycopg.OperationalError)):
        return AWAY if _while_connecting(error) else LOST
    return None


def _while_connecting(error: BaseException) -> bool:
    return any(frame.name == "connect" for frame in traceback.extract_tb(error.__traceback__))


def _behind() -> Kind | None:
    """The kind for a missing table or column: an error of the program, unless migrations are unapplied."""
    return BEHIND if waiting() else None


def waiting() -> list[str]:
    """The unapplied migrations; none where the database can't be queried now."""
    try:
        return upgrades.waiting()
    except Error:
        return []

"""Whether the linked SQLite library is recent enough and free of a known fault."""

from __future__ import annotations

import sqlite3

OLDEST = (3, 31, 0)
FAULT_FROM, FAULT_TO = (3, 7, 0), (3, 51, 2)
FAULT_MENDED = {(3, 44, 6), (3, 50, 7)}

Version = tuple[int, int, int]


def too_old(version: Version = sqlite3.sqlite_version_info) -> str:
    """The reason as one sentence where the library is too old for the log, else an empty text."""
    if version >= OLDEST:
        return ""
    return (
        f"SQLite {dotted(version)} is too old: Wearlog needs {dotted(OLDEST)} or newer, "
        "which a newer Python brings; or set DATABASE_URL to a PostgreSQL server."
    )


def reset_fault(version: Version = sqlite3.sqlite_version_info) -> str:
    """A warning where the library has the write-ahead-log reset fault, else an empty text.

    The range is the one that SQLite's own page on write-ahead logging names: 3.7.0 to 3.51.2, mended in
    3.44.6 and 3.50.7. The fault occurs only when two processes write and checkpoint at the same moment.
    """
    if not FAULT_FROM <= version <= FAULT_TO or version in FAULT_MENDED:
        return ""
    return (
        f"SQLite {dotted(version)} has a known, very rare fault when two processes write at once. "
        "Run one Wearlog process per data folder, keep backups, and update SQLite when your system offers it."
    )


def dotted(version: Version) -> str:
    return ".".join(str(part) for part in version)

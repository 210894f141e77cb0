"""How much room a folder's disk has, and whether it can be written to. Asks the system, writes nothing.

A quota that the system keeps for one user is not seen here; a write that it refuses is told where it happens.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from django.db import connection

FULL_MB = 100
"""Below this nothing may be saved any more at any moment. Our own figure: a mill's log grows by a few
megabytes a year, its backups by more, and a photo of an entry takes up to half a megabyte."""


def free_mb(folder: Path) -> int | None:
    """Megabytes (of a million bytes) that are free; None where the folder can't be looked at."""
    try:
        return shutil.disk_usage(folder).free // 1_000_000
    except OSError:
        return None


def can_be_written(path: Path) -> bool:
    """Whether this process may write the file, or make files in the folder."""
    return os.access(path, os.W_OK | os.X_OK if path.is_dir() else os.W_OK)


def database_file() -> Path | None:
    """The file of the log; None where a server keeps it, or memory."""
    name = str(connection.settings_dict["NAME"])
    if connection.vendor != "sqlite" or name.startswith((":memory:", "file:")):
        return None
    return Path(name)


def database_can_be_written() -> bool:
    """Whether the database would take an entry; DatabaseError where it does not answer. One query at most."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SHOW transaction_read_only")  # also that of a server which follows another
            return str(cursor.fetchone()[0]) == "off"
    file = database_file()
    if file is None:
        return True
    # Files are made beside it with each write.
    return can_be_written(file.parent) and (not file.exists() or can_be_written(file))

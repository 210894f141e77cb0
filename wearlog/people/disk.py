"""Free space on a folder's disk, and whether it can be written to. Nothing is written to find out.

A per-user disk quota is not seen here; a write that it refuses is reported where it happens.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from django.db import connection

FULL_MB = 100
"""Below this, saving may fail at any moment. Our own figure: a mill's log grows by a few
megabytes a year, its backups by more, and a photo of an entry takes up to half a megabyte."""


def free_mb(folder: Path) -> int | None:
    """Free megabytes (of a million bytes); None where the folder can't be accessed."""
    try:
        return shutil.disk_usage(folder).free // 1_000_000
    except OSError:
        return None


def can_be_written(path: Path) -> bool:
    """Whether this process may write to the file, or create files in the folder."""
    return os.access(path, os.W_OK | os.X_OK if path.is_dir() else os.W_OK)


def database_file() -> Path | None:
    """The database file; None where the database is on a server or in memory."""
    name = str(connection.settings_dict["NAME"])
    if connection.vendor != "sqlite" or name.startswith((":memory:", "file:")):
        return None
    return Path(name)


def database_can_be_written() -> bool:
    """Whether the database accepts writes. At most one query. Raises DatabaseError where it does not
    answer."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SHOW transaction_read_only")  # also "on" for a replica
            return str(cursor.fetchone()[0]) == "off"
    file = database_file()
    if file is None:
        return True
    # SQLite creates files beside it with each write.
    return can_be_written(file.parent) and (not file.exists() or can_be_written(file))

"""How much room a folder's disk has, and whether it can be written to. Asks the system, writes nothing.

A quota that the system keeps for one user is not seen here; a write that it refuses is told where it happens.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

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

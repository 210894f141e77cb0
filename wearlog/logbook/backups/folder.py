"""The folder of the scheduled backups: the names in it, and the check that it is on the intended disk.

The mount point of a disk that is not mounted looks like an empty folder, and writing to it would fill the
disk of the log. So the folder gets a marker file at its first use, and later nothing is written without it.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from wearlog.logbook.backups.archive import sync_folder
from wearlog.logbook.backups.holding import own_like_folder
from wearlog.logbook.backups.refusals import BackupRefused
from wearlog.logbook.backups.retention import BackupFile, RetentionRule, expired

MARKER = "wearlog-backups.txt"
MARKER_WORDS = (
    "Wearlog keeps its backups in this folder. It writes here only while this file is there: so it notices "
    "when a disk is not mounted.\n"
)
SCHEDULED, BY_HAND, BEFORE = "scheduled", "by-hand", "before-"
NAME = re.compile(r"wearlog-(\d{8}-\d{6})-(scheduled|by-hand|before-[a-z]+)\.zip")
STAMP = "%Y%m%d-%H%M%S"
KEPT_BEFORE = 5
"""How many of the backups made before a migration or an import are kept."""


def own_folder(data_dir: Path) -> Path:
    """The folder within the data folder: the default, and always the one for backups before an import or
    migration."""
    return data_dir / "backups"


def read_folder(text: str, data_dir: Path) -> Path:
    """The folder that `text` (the variable BACKUP_DIR) names, else the one within the data folder."""
    return Path(text.strip()).expanduser().resolve() if text.strip() else own_folder(data_dir)


def name_of(at: datetime, why: str) -> str:
    return f"wearlog-{at.astimezone(UTC):{STAMP}}-{why}.zip"


def made_in(folder: Path) -> list[BackupFile]:
    """The backups in the folder, oldest first, recognised by their names; other files are ignored."""
    found = []
    for path in folder.glob("wearlog-*.zip"):
        if match := NAME.fullmatch(path.name):
            try:
                at = datetime.strptime(match.group(1), STAMP).replace(tzinfo=UTC)
            except ValueError:
                continue
            found.append(BackupFile(path, at, match.group(2)))
    return sorted(found, key=lambda one: one.at)


def require_ready(folder: Path, *, data_dir: Path, known: Sequence[str], new: bool = False) -> None:
    """Check that the folder is the intended one, and create the marker at its first use. `known` are the
    folders used before; `new` says that this one is intended although it has no marker.

    Raises BackupRefused where it is missing, or looks like a disk that is not mounted."""
    if folder == own_folder(data_dir):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        own_like_folder(folder, data_dir)
        return
    if not folder.is_dir():
        raise BackupRefused(
            f"The folder {folder}, which BACKUP_DIR names, is not there: mount its disk, or make the folder."
        )
    marker = folder / MARKER
    if marker.is_file():
        return
    if str(folder) in known and not new:
        raise BackupRefused(
            f"The folder {folder} was used before, but {MARKER} is not in it: mount its disk. If it is a new "
            "disk, run once: manage.py backup --new-folder"
        )
    handle = os.open(marker, os.O_WRONLY | os.O_CREAT, 0o600)
    with os.fdopen(handle, "w") as stream:
        stream.write(MARKER_WORDS)
    sync_folder(folder)


def clear(folder: Path, keep: RetentionRule, *, at: datetime) -> list[Path]:
    """Delete the backups that `keep` no longer needs; return what was deleted."""
    made = made_in(folder)
    before = [one for one in made if one.why.startswith(BEFORE)]
    ours = [one for one in made if not one.why.startswith(BEFORE)]
    gone = [one.path for one in [*before[:-KEPT_BEFORE], *expired(ours, keep, at=at)]]
    for path in gone:
        path.unlink(missing_ok=True)
    return gone


def clear_parts(folder: Path) -> None:
    """Delete the partial files of interrupted backups."""
    for path in folder.glob(".wearlog-*.zip.part"):
        path.unlink(missing_ok=True)

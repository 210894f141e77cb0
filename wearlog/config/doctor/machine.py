"""Checks of the machine that the site runs on: the data folder and its disk, SQLite, the clock."""

from __future__ import annotations

import shlex
import shutil
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db import connection

from wearlog.config import private_files, sqlite
from wearlog.config.doctor.report import Finding, bad, ok, warn
from wearlog.logbook.backups import making, status
from wearlog.people import disk
from wearlog.reminders.schedule import clock
from wearlog.reminders.schedule import state as schedule_state
from wearlog.service.photos import folder as photo_folder
from wearlog.service.photos import lacking_and_left_over

MOUNTS = Path("/proc/self/mounts")
NETWORK_DISKS = {
    "9p", "afs", "ceph", "cifs", "fuse.glusterfs", "fuse.s3fs", "fuse.sshfs", "glusterfs", "lustre", "ncpfs",
    "nfs", "nfs4", "smb3", "smbfs", "virtiofs",
}  # fmt: skip
"""Network file systems, where locks and syncs depend on another machine. From memory, not a complete list."""

NEARLY_FULL_MB = 1000
"""Free space below which a warning is due; below `disk.FULL_MB` it is an error."""

CLOCKS_APART = timedelta(minutes=1)


def data_folder(at: datetime) -> Iterator[Finding]:
    folder = Path(settings.DATA_DIR)
    if not folder.is_dir():
        yield bad(f"{folder} is not there", "Name the folder of the mill's data with DATA_DIR or --data.")
        return
    if not disk.can_be_written(folder):
        yield bad(f"{folder} can't be written to", "Give it to the user that Wearlog runs as.")
    else:
        yield ok(f"{folder} can be written to")
    yield from kept_from_others(folder)
    yield disk_space(shutil.disk_usage(folder).free)
    if connection.vendor == "sqlite":
        yield kind_of_disk(folder, mounts=MOUNTS.read_text() if MOUNTS.exists() else None)


def kept_from_others(folder: Path) -> Iterator[Finding]:
    """Whether other users can read the folder. A start never changes the permissions of a folder that
    exists."""
    name = Path(str(connection.settings_dict["NAME"]))
    own = name if connection.vendor == "sqlite" and name.is_file() else None
    files = [path for path in beside(own) if private_files.is_loose(path)] if own else []
    if own and files and private_files.is_loose(own.parent):
        yield bad(
            f"{own} can be read by others on this machine: all that was logged, and who may sign in",
            f"Run: chmod 600 {shlex.join(map(str, files))}",
        )
    if private_files.is_loose(folder):
        yield warn(
            f"{folder} can be opened by others on this machine", f"Run: chmod 700 {shlex.quote(str(folder))}"
        )
    else:
        yield ok("it is kept from others on this machine")


def beside(database: Path) -> list[Path]:
    """The files of an SQLite database: itself, and those that SQLite writes beside it."""
    return [database, *(database.with_name(database.name + more) for more in ("-wal", "-shm"))]


def photos(at: datetime) -> Iterator[Finding]:
    """Check that every photo in the log has its file, and every file its photo."""
    lacking, left_over = lacking_and_left_over()
    if lacking:
        yield bad(
            f"{len(lacking)} photos of the log have no file in {photo_folder()}",
            "Put that folder back from the backup that belongs to this database.",
        )
    if left_over:
        yield warn(
            f"{len(left_over)} files in {photo_folder()} belong to no entry, {left_over[0].name} for one",
            "They are left from an entry that was cut off, or the database is an older one. Delete them once "
            "you are sure that it is the right one.",
        )
    if not lacking and not left_over:
        yield ok("every photo of the log has its file")


def backups(at: datetime) -> Iterator[Finding]:
    """When the last backup was made, which errors there were since, and whether it lies on the same disk as
    the database, so that both would be lost together."""
    now, where = status.read(making.data_dir()), Path(settings.BACKUP_DIR)
    if now.failed_at is not None:
        yield bad(f"none could be made at {now.failed_at:%Y-%m-%d %H:%M} UTC: {now.why}", MAKE_ONE)
    if now.made_at is None:
        yield warn("none has been made yet", MAKE_ONE)
    elif now.is_old(at=at):
        yield bad(f"the last one was made at {now.made_at:%Y-%m-%d %H:%M} UTC", MAKE_ONE)
    elif not Path(now.file).exists():
        yield warn(
            f"the last one, {now.file}, is not there any more", "Mount its disk, or see that it is kept well."
        )
    else:
        yield ok(f"the last one was made at {now.made_at:%Y-%m-%d %H:%M} UTC: {now.file}")
    if on_one_disk(where, making.data_dir()):
        yield warn(
            f"they go to {where}, on the same disk as the data: if it breaks, both are gone",
            "Set BACKUP_DIR to a folder on a second disk (docs/backup.md).",
        )


MAKE_ONE = "Run manage.py backup and see what it says; docs/backup.md has the whole way."


def on_one_disk(one: Path, other: Path) -> bool:
    """Whether both lie on the same disk; a folder that does not exist yet counts as on its parent's."""
    while not one.exists() and one != one.parent:
        one = one.parent
    try:
        return one.stat().st_dev == other.stat().st_dev
    except OSError:
        return False


def disk_space(free_bytes: int) -> Finding:
    free = free_bytes // 1_000_000
    words = f"{free} MB free on its disk"
    if free < disk.FULL_MB:
        return bad(words, "Make room now: what people log can't be saved on a full disk.")
    if free < NEARLY_FULL_MB:
        return warn(words, "Make room, or move old backups to another disk.")
    return ok(words)


def kind_of_disk(folder: Path, *, mounts: str | None) -> Finding:
    """`mounts` as in /proc/self/mounts; None where the system has no such list."""
    if mounts is None:
        return warn(
            "this system does not tell what kind of disk it is on",
            "See that it is a disk of this machine, not of another one in the network.",
        )
    kind = file_system_of(folder, mounts)
    if kind in NETWORK_DISKS:
        return bad(
            f"it is on a network disk ({kind}), on which SQLite can lose or spoil the log",
            "Move it to a disk of this machine, or use a PostgreSQL server (DATABASE_URL).",
        )
    return ok(f"it is on a disk of this machine ({kind or 'of a kind that is not told'})")


def file_system_of(folder: Path, mounts: str) -> str:
    """The type of the mount that the folder lies on: the one with the longest path above it."""
    resolved, found = folder.resolve(), ("", "")
    for line in mounts.splitlines():
        fields = line.split()
        if len(fields) < 3:
            continue
        point = fields[1].encode().decode("unicode_escape")  # spaces are escaped as \040
        if resolved.is_relative_to(point) and len(point) >= len(found[0]):
            found = (point, fields[2])
    return found[1]


def sqlite_library(at: datetime) -> Iterator[Finding]:
    if connection.vendor != "sqlite":
        return
    version = sqlite3.sqlite_version_info
    if refusal := sqlite.too_old(version):
        yield bad(refusal, "Update Python, or use PostgreSQL.")
    elif warning := sqlite.reset_fault(version):
        yield warn(warning, "Update SQLite with your system, or keep to one process and daily backups.")
    else:
        yield ok(f"SQLite {sqlite.dotted(version)} has no fault that is known here")
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA journal_mode")
        mode = str(cursor.fetchone()[0])
        cursor.execute("PRAGMA synchronous")
        full = int(cursor.fetchone()[0]) >= 2
    if mode not in ("wal", "memory"):
        yield bad(
            f"the database is in the mode {mode!r}, not 'wal'",
            "Give the folder to the user that Wearlog runs as: SQLite needs to write files beside it.",
        )
    if not full:
        yield bad(
            "SQLite does not wait for the disk (synchronous is not FULL)",
            "Take the change of the database's OPTIONS back.",
        )


def clocks(at: datetime) -> Iterator[Finding]:
    """Compares the clocks of this machine and of the database only; no time server is asked."""
    doubt = clock.current_doubt()
    if doubt is not None:
        yield bad(
            f"reminders are paused: it said {doubt.shown:%Y-%m-%d %H:%M} UTC where "
            f"{doubt.expected:%Y-%m-%d %H:%M} UTC was expected",
            "Put the clock right; if it is right, run manage.py clock_is_right.",
        )
    seen = schedule_state.last(clock.SEEN)
    if seen is not None and seen - at > clock.BACK:
        yield bad(
            f"it says {at:%Y-%m-%d %H:%M} UTC, but was {seen:%Y-%m-%d %H:%M} UTC before",
            "Put the clock right.",
        )
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT clock_timestamp()")
            there = cursor.fetchone()[0].astimezone(UTC)
        yield against(there, at=datetime.now(UTC))
    elif doubt is None:
        yield ok(f"it says {at:%Y-%m-%d %H:%M} UTC; compare with a watch")


def against(there: datetime, *, at: datetime) -> Finding:
    apart = abs(there - at)
    if apart > CLOCKS_APART:
        return bad(
            f"this machine's and the database server's are {apart.total_seconds():.0f} seconds apart",
            "Let both take the time from the same server (NTP).",
        )
    return ok(f"it says {at:%Y-%m-%d %H:%M} UTC, and the database server's agrees")

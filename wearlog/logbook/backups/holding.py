"""File locks on the data folder: shared by any number of running programs, or exclusive for one restore. The
system releases them when the process ends.

It does not import Django, since it is used before the settings are loaded.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import IO

from wearlog.logbook.backups.refusals import InUse

AT_WORK = "at-work"
SERVED = "in-use"
"""Held by the one-process server (`wearlog.config.embedded`)."""
ONE_BACKUP = "backup-under-way"

_held: list[IO[str]] = []


def wait_for(stream: IO[str]) -> None:
    """Wait until this process holds the file's lock exclusively."""
    with suppress(ImportError):  # Windows has no such lock
        import fcntl

        fcntl.flock(stream, fcntl.LOCK_EX)


def _take(stream: IO[str], *, shared: bool) -> bool:
    try:
        import fcntl
    except ImportError:
        return True
    try:
        fcntl.flock(stream, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def hold_shared(data_dir: Path) -> None:
    """Take the folder's shared lock until this process ends. Raises InUse while a restore holds it. Does
    nothing where the folder does not exist or can't be written to."""
    try:
        stream = open_to_lock(data_dir / AT_WORK)
    except OSError:
        return
    if not _take(stream, shared=True):
        stream.close()
        raise InUse(f"A backup is being restored into {data_dir}: try again once that has ended.")
    _held.append(stream)


@contextmanager
def hold_exclusively(data_dir: Path) -> Iterator[None]:
    """Hold the folder's exclusive lock; raises InUse where another process uses it."""
    with ExitStack() as held:
        for name in (AT_WORK, SERVED):
            stream = held.enter_context(open_to_lock(data_dir / name))
            if not _take(stream, shared=False):
                raise InUse(
                    f"Wearlog is at work on {data_dir}: stop it (quickstart, the pages, workers and "
                    "schedule, any other command), and try again."
                )
        yield


@contextmanager
def one_backup(data_dir: Path, *, patience_s: float) -> Iterator[None]:
    """Let only one backup of this folder run at a time. Waits for another up to `patience_s` seconds, then
    raises InUse."""
    end = time.monotonic() + patience_s
    with open_to_lock(data_dir / ONE_BACKUP) as stream:
        while not _take(stream, shared=False):
            if time.monotonic() > end:
                raise InUse("Another backup is being made at this moment: try again once it has ended.")
            time.sleep(0.2)
        yield


def open_to_lock(path: Path) -> IO[str]:
    """Open an empty lock file, created if missing with the folder's owner and private permissions. It is
    opened read-only, so that the disk can be remounted read-only meanwhile."""
    try:
        stream = os.fdopen(os.open(path, os.O_RDONLY | os.O_CREAT | os.O_EXCL, 0o600), encoding="utf-8")
    except (FileExistsError, PermissionError):
        return path.open(encoding="utf-8")
    with suppress(OSError):  # a system without chown
        own_like_folder(path, path.parent)
    return stream


def own_like_folder(path: Path, folder: Path) -> None:
    """Give a file or folder the owner of `folder`. Otherwise commands run as root would leave files that the
    user of the site can't read."""
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        owner = folder.stat()
        os.chown(path, owner.st_uid, owner.st_gid)

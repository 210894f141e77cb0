"""Who uses the data folder: any number of programs at work, or one restore. Locks end with their process.

It imports nothing of Django, since it is asked before the settings are there.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import IO, Any

from wearlog.logbook.backups.refusals import InUse

AT_WORK = "at-work"
SERVED = "in-use"
"""Held by the one-process server (`wearlog.config.embedded`)."""
ONE_BACKUP = "backup-under-way"

_held: list[IO[Any]] = []


def wait_for(stream: IO[Any]) -> None:
    """Wait until this process alone has the file's lock."""
    with suppress(ImportError):  # Windows has no such lock
        import fcntl

        fcntl.flock(stream, fcntl.LOCK_EX)


def _take(stream: IO[Any], *, shared: bool) -> bool:
    try:
        import fcntl
    except ImportError:
        return True
    try:
        fcntl.flock(stream, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def join(data_dir: Path) -> None:
    """Be one of those at work on the folder, until this process ends; raises InUse while a restore has it.
    Nothing happens where there is no such folder, or none that can be written to."""
    try:
        stream = open_to_lock(data_dir / AT_WORK)
    except OSError:
        return
    if not _take(stream, shared=True):
        stream.close()
        raise InUse(f"A backup is being restored into {data_dir}: try again once that has ended.")
    _held.append(stream)


@contextmanager
def alone(data_dir: Path) -> Iterator[None]:
    """Have the folder for this process alone; raises InUse where another one is at work on it."""
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
    """Wait for another backup from this folder to end; raises InUse where it takes longer."""
    end = time.monotonic() + patience_s
    with open_to_lock(data_dir / ONE_BACKUP) as stream:
        while not _take(stream, shared=False):
            if time.monotonic() > end:
                raise InUse("Another backup is being made at this moment: try again once it has ended.")
            time.sleep(0.2)
        yield


def open_to_lock(path: Path) -> IO[str]:
    """An empty file to lock, made where it is not there, for its folder's owner alone, as all in that folder.
    It is open for reading alone, so that a disk can be made read-only meanwhile."""
    try:
        stream = os.fdopen(os.open(path, os.O_RDONLY | os.O_CREAT | os.O_EXCL, 0o600), encoding="utf-8")
    except (FileExistsError, PermissionError):
        return path.open(encoding="utf-8")
    with suppress(OSError):  # a system that can't give files away
        own_like_folder(path, path.parent)
    return stream


def own_like_folder(path: Path, folder: Path) -> None:
    """Give a file or folder to whom the folder belongs. The administrator's commands would else leave
    behind what the user that Wearlog runs as can't read."""
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        owner = folder.stat()
        os.chown(path, owner.st_uid, owner.st_gid)

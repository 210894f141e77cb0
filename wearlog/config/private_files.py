"""Files that only the user of this program may read, whatever umask the machine has.

What is there already keeps the rights that somebody gave it; `doctor` tells where they are loose.
"""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

FOLDER, FILE = 0o700, 0o600


def make_folder(path: Path) -> None:
    """Make the folder, and those above it, where it is not there. Raises OSError."""
    try:
        path.mkdir(mode=FOLDER, parents=True)
    except FileExistsError:
        if not path.is_dir():
            raise
        return
    path.chmod(FOLDER)


def make_file(path: Path, content: bytes = b"") -> None:
    """Make the file in its folder. It has its rights before it has its content. Raises OSError,
    FileExistsError where it is there."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE)
    with os.fdopen(handle, "wb") as stream:
        with suppress(OSError):  # a disk that knows no rights
            path.chmod(FILE)
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def is_loose(path: Path) -> bool:
    """Whether others on this machine may read, change or enter it. False where it is not there, and on a
    system without such rights."""
    try:
        return os.name == "posix" and bool(path.stat().st_mode & 0o077)
    except OSError:
        return False

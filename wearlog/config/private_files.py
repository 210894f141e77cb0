"""Creates files that only the user of this program may read, whatever the umask.

Existing files keep their permissions; `doctor` reports those that others can read.
"""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

FOLDER, FILE = 0o700, 0o600


def make_folder(path: Path) -> None:
    """Make the folder and its parents where they do not exist. Raises OSError."""
    try:
        path.mkdir(mode=FOLDER, parents=True)
    except FileExistsError:
        if not path.is_dir():
            raise
        return
    path.chmod(FOLDER)


def make_file(path: Path, content: bytes = b"") -> None:
    """Create the file, with its permissions set before the content is written. Raises OSError,
    FileExistsError where it exists."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE)
    with os.fdopen(handle, "wb") as stream:
        with suppress(OSError):  # a file system without permissions
            path.chmod(FILE)
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def is_loose(path: Path) -> bool:
    """Whether other users of this machine may read, change or enter the path. False where it does not exist,
    and on systems without such permissions."""
    try:
        return os.name == "posix" and bool(path.stat().st_mode & 0o077)
    except OSError:
        return False

"""The files of imports: in the data folder, readable only by its owner."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from django.conf import settings


def folder() -> Path:
    return Path(settings.DATA_DIR) / "imports"


def archive(file: str) -> Path:
    """The uploaded archive. `file` is a name that `store_upload` made, never what a browser sent."""
    return folder() / f"{file}.zip"


def problems(file: str) -> Path:
    """The file with all problems of the import, as CSV."""
    return folder() / f"{file}.csv"


def store_upload(chunks: Iterable[bytes]) -> str:
    """Store an upload, fsynced, and return the name made for it.
    Raises OSError where it can't be written; then nothing is left behind."""
    file = secrets.token_hex(16)
    write(archive(file), chunks)
    return file


def write(path: Path, chunks: Iterable[bytes]) -> None:
    """Write the file atomically. Raises OSError."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    beside = path.with_suffix(f".{secrets.token_hex(4)}")
    try:
        with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:
            for chunk in chunks:
                stream.write(chunk)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(beside, path)
    except BaseException:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
        raise


def delete_files(file: str, *, problems_too: bool = False) -> None:
    """Delete the archive, ignoring errors, since a leftover file does no harm."""
    for path in [archive(file), *([problems(file)] if problems_too else [])]:
        with suppress(OSError):
            path.unlink(missing_ok=True)

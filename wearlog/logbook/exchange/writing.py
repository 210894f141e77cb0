"""Writing a folder or an archive atomically."""

from __future__ import annotations

import os
import shutil
import tempfile
import zipfile
from collections.abc import Mapping
from pathlib import Path, PurePosixPath

from django.utils.translation import gettext as _

from wearlog.logbook.exchange.files import left_behind
from wearlog.logbook.exchange.problems import Unreadable
from wearlog.logbook.exchange.tables import BY_FILE

FIRST_MOMENT = (1980, 1, 1, 0, 0, 0)
"""The fixed time of every entry in an archive, so that the same content gives the same bytes."""


def put_folder(target: Path, files: Mapping[str, bytes]) -> None:
    """Write the files to a temporary folder next to `target` and rename it.

    An older logbook there is replaced. Raises Unreadable for a folder that holds anything else."""
    target = target.absolute()
    try:
        refuse_foreign_folder(target)
        target.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
        try:
            fresh, old = beside / "new", beside / "old"
            fresh.mkdir()
            for name, content in files.items():
                write_whole(fresh / name, content)
            if target.exists():
                os.rename(target, old)
            try:
                os.rename(fresh, target)
            except OSError:
                if old.exists():
                    os.rename(old, target)
                raise
        finally:
            shutil.rmtree(beside, ignore_errors=True)
    except OSError as error:
        raise not_written(target, error) from error


def put_archive(target: Path, files: Mapping[str, bytes]) -> None:
    """Write the archive next to `target` and rename it; only an older logbook is replaced."""
    target = target.absolute()
    try:
        refuse_foreign_archive(target)
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{target.name}-", dir=target.parent)
        beside = Path(name)
        try:
            with os.fdopen(handle, "wb") as stream:
                with zipfile.ZipFile(stream, "w") as archive:
                    for entry_name, content in files.items():
                        entry = zipfile.ZipInfo(entry_name, FIRST_MOMENT)
                        entry.compress_type = zipfile.ZIP_DEFLATED
                        entry.create_system = 3  # the same on every system
                        entry.external_attr = 0o644 << 16
                        archive.writestr(entry, content, compresslevel=6)
                stream.flush()
                os.fsync(stream.fileno())
            beside.chmod(0o666 & ~umask())
            os.replace(beside, target)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise not_written(target, error) from error


def write_whole(path: Path, content: bytes) -> None:
    with path.open("wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def umask() -> int:
    """The process's umask."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def refuse_foreign_folder(target: Path) -> None:
    if not target.exists():
        return
    if not target.is_dir():
        raise Unreadable(
            _("%(target)s is a file: name a folder, or an archive whose name ends in .zip.")
            % {"target": target}
        )
    others = sorted(path.name for path in target.iterdir() if path.name not in BY_FILE)
    others = [name for name in others if not left_behind(name)] or others
    if others:
        raise Unreadable(
            _(
                "%(target)s holds something other than a logbook (%(others)s): name a new or an "
                "empty folder. Nothing was written."
            )
            % {"target": target, "others": others[0]}
        )


def refuse_foreign_archive(target: Path) -> None:
    if not target.exists():
        return
    if target.is_file() and zipfile.is_zipfile(target):
        with zipfile.ZipFile(target) as archive:
            names = [entry.filename for entry in archive.infolist() if not entry.is_dir()]
        if all(PurePosixPath(name).name in BY_FILE for name in names):
            return
    raise Unreadable(
        _("%(target)s exists and is no logbook: name a new archive. Nothing was written.")
        % {"target": target}
    )


def not_written(target: Path, error: OSError) -> Unreadable:
    return Unreadable(
        _("%(target)s can't be written (%(strerror)s): check the place and its rights.")
        % {"target": target, "strerror": error.strerror or error}
    )

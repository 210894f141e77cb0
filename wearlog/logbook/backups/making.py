"""Make a backup while people go on working: write a partial file, verify it, then rename it into place."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from datetime import UTC, datetime
from importlib import metadata
from io import BytesIO
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError, connection
from django.utils.translation import gettext as _

from wearlog.logbook.backups import archive, folder, holding, postgres, sqlite, status
from wearlog.logbook.backups.archive import Manifest, Writer
from wearlog.logbook.backups.refusals import BackupRefused
from wearlog.people.refusals import Refused
from wearlog.service import photos

WORK = ".backup-work"
SPARE_BYTES = 200_000_000
"""How much space must stay free for the log when a backup is made on its disk."""
PATIENCE_S = 120.0
"""How long a backup that somebody waits for may wait for another backup to end."""
MEMORY = (":memory:", "file:")
TELLING_TABLES = ("people_user", "people_mill", "equipment_press")


class NoBackup(Refused):
    """The backup before an import or migration could not be made, so that step was not taken."""


def data_dir() -> Path:
    return Path(settings.DATA_DIR)


def in_memory() -> bool:
    """Whether the database is in memory only, so that there is nothing to back up."""
    name = str(connection.settings_dict["NAME"])
    return connection.vendor == "sqlite" and (name.startswith(MEMORY) or "mode=memory" in name)


def has_data() -> bool:
    """Whether the database holds any data; its schema may be of an older version."""
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for table in TELLING_TABLES:
            if table in tables:
                cursor.execute(f"SELECT 1 FROM {table} LIMIT 1")  # noqa: S608  # one of ours
                if cursor.fetchone():
                    return True
    return False


def by_itself(*, at: datetime, why: str, keys: bool = False, new_folder: bool = False) -> Path:
    """Make a backup in the backup folder and delete those that are no longer needed. A failure is stored for
    `doctor` and the owner's page. Raises BackupRefused."""
    where, home = Path(settings.BACKUP_DIR), data_dir()
    try:
        with _as_refusals():
            home.mkdir(mode=0o700, parents=True, exist_ok=True)
            known = status.read(home).folders
            folder.require_ready(where, data_dir=home, known=known, new=new_folder)
            target = where / folder.name_of(at, why)
            make(target, at=at, reason=why, keys=keys)
            status.made(home, at=at, file=target, folder=where)
            folder.clear(where, settings.BACKUP_KEEP, at=at)
    except BackupRefused as refused:
        with suppress(OSError):
            status.failed(home, at=at, why=str(refused))
        raise
    return target


def to_file(target: Path, *, at: datetime, keys: bool, over: bool) -> Manifest:
    """Make a backup at that path. Raises BackupRefused where a file is there and `over` is False, or the
    backup can't be made."""
    if target.is_dir():
        raise BackupRefused(f"{target} is a folder: name a file in it, as in {target / 'wearlog.zip'}.")
    if target.exists() and not over:
        raise BackupRefused(f"{target} is there already: take another name, or add --replace.")
    if not target.parent.is_dir():
        raise BackupRefused(f"The folder {target.parent} is not there: mount its disk, or make the folder.")
    with _as_refusals():
        manifest = make(target, at=at, reason=folder.BY_HAND, keys=keys)
        status.made(data_dir(), at=at, file=target.resolve(), folder=None)
    return manifest


def before(step: str, *, at: datetime) -> Path | None:
    """Make a backup before a step that changes much (`import`, `migration`), so that it can be undone: only
    the database, in the data folder, since photos never change. Returns None where there is nothing to back
    up.

    Raises NoBackup, whose text says what to do; then the step must not be taken. Call it outside
    transactions.
    """
    if in_memory() or not has_data():
        return None
    where = folder.own_folder(data_dir())
    target = where / folder.name_of(at, folder.BEFORE + step)
    try:
        with _as_refusals():
            where.mkdir(mode=0o700, parents=True, exist_ok=True)
            holding.own_like_folder(where, data_dir())
            if target.exists():  # two backups in one second
                return target
            make(target, at=at, reason=folder.BEFORE + step, pictures=False)
            folder.clear(where, settings.BACKUP_KEEP, at=at)
    except BackupRefused as refused:
        raise NoBackup(
            _("Nothing was done, because no backup could be made before: %(why)s") % {"why": refused}
        ) from refused
    return target


def once_before(step: str, *, clock: Callable[[], datetime]) -> Callable[[], None]:
    """`before` for a step that may be retried: the returned function makes a backup only when first called,
    so that retries do not push out the backups before other steps."""
    made = False

    def make_one() -> None:
        nonlocal made
        if not made:
            before(step, at=clock())
            made = True

    return make_one


def make(target: Path, *, at: datetime, reason: str, keys: bool = False, pictures: bool = True) -> Manifest:
    """Write the archive and rename it to `target`, replacing any file there. A partial file never has the
    final name, and no other user can read it. Raises BackupRefused or OSError."""
    if in_memory():
        raise BackupRefused("The database is in memory only: there is nothing to back up.")
    home = data_dir()
    if not home.is_dir():
        raise BackupRefused(f"There is no folder {home}: name the folder of the mill's data with --data.")
    with holding.one_backup(home, patience_s=0 if reason == folder.SCHEDULED else PATIENCE_S):
        work, part = home / WORK, target.with_name(f".{target.name}.part")
        shutil.rmtree(work, ignore_errors=True)
        part.unlink(missing_ok=True)
        folder.clear_parts(target.parent)
        work.mkdir(mode=0o700)
        try:
            with Writer(part) as writer:
                started = Manifest(
                    made_at=at.astimezone(UTC).isoformat(),
                    reason=reason,
                    program=program(),
                    database="",
                    database_version="",
                    database_schema="",
                    schema=[],
                    rows={},
                    photos=pictures,
                    keys=keys,
                )
                fill = _fill_from_postgres if connection.vendor == "postgresql" else _fill_from_sqlite
                manifest, names = fill(writer, started, work)
                if pictures:
                    manifest = replace(manifest, photos_lacking=_add_photos(writer, names, part.parent))
                if keys:
                    _add_keys(writer)
                writer.close(manifest)
            manifest = archive.check(part)  # verified as a restore would, while the original exists
            os.replace(part, target)
            if home in target.parents:
                holding.own_like_folder(target, home)
            archive.sync_folder(target.parent)
        finally:
            with suppress(OSError):
                part.unlink(missing_ok=True)
            shutil.rmtree(work, ignore_errors=True)
    return manifest


def program() -> str:
    """The version of this program."""
    try:
        return metadata.version("wearlog")
    except metadata.PackageNotFoundError:
        return "not told"


def _fill_from_sqlite(writer: Writer, started: Manifest, work: Path) -> tuple[Manifest, Sequence[str]]:
    source, made = Path(connection.settings_dict["NAME"]), work / archive.SQLITE_MEMBER
    if not source.exists():
        raise BackupRefused(f"There is no database {source}: name the folder of the mill's data with --data.")
    size = source.stat().st_size
    archive.require_room(work, size, spare_bytes=SPARE_BYTES)
    sqlite.copy(source, made)
    archive.require_room(writer.path.parent, size, spare_bytes=SPARE_BYTES)
    with sqlite.open_unchanged(made) as copied:
        manifest = replace(
            started,
            database="sqlite",
            database_version=sqlite.VERSION,
            schema=sqlite.schema(copied),
            rows=sqlite.rows(copied),
        )
        names = sqlite.photo_names(copied)
    with made.open("rb") as stream:
        writer.add(archive.SQLITE_MEMBER, stream, packed=True)
    return manifest, names


def _fill_from_postgres(writer: Writer, started: Manifest, work: Path) -> tuple[Manifest, Sequence[str]]:
    database = connection.settings_dict
    with postgres.export_snapshot(database) as now:
        archive.require_room(writer.path.parent, 0, spare_bytes=SPARE_BYTES)
        with postgres.dumped(database, now) as stream:
            writer.add(archive.POSTGRES_MEMBER, stream, packed=False)
    manifest = replace(
        started,
        database="postgresql",
        database_version=str(now.server),
        database_schema=now.schema_name,
        schema=now.schema,
        rows=now.rows,
    )
    return manifest, now.photos


def _add_photos(writer: Writer, names: Sequence[str], where: Path) -> list[str]:
    """Add the files of these photos; return the names of missing ones. (Files are stored before their rows,
    so none should be.)"""
    lacking, bytes_ = [], 0
    there = [(path, name) for name in names for path in _both(name)]
    for path, _name in there:
        with suppress(OSError):
            bytes_ += path.stat().st_size
    archive.require_room(where, bytes_, spare_bytes=SPARE_BYTES)
    for path, name in there:
        try:
            stream = path.open("rb")
        except OSError:
            lacking.append(name)
            continue
        with stream:
            writer.add(f"photos/{path.parent.name}/{path.name}", stream, packed=False)
    return sorted(set(lacking))


def _both(name: str) -> tuple[Path, Path]:
    return photos.path_of(name), photos.path_of(name, small=True)


def _add_keys(writer: Writer) -> None:
    """Add the secret key in use and the certificates of the mill's own https, which its phones trust."""
    writer.add(archive.KEY_MEMBER, BytesIO(settings.SECRET_KEY.encode()), packed=False)
    for path in sorted((data_dir() / "https").glob("*")):
        if archive.MAY_BE_INSIDE.fullmatch(f"https/{path.name}"):
            with path.open("rb") as stream:
                writer.add(f"https/{path.name}", stream, packed=False)


@contextmanager
def _as_refusals() -> Iterator[None]:
    """Turn errors of the system and the database into BackupRefused."""
    try:
        yield
    except OSError as error:
        place = f" ({error.filename})" if error.filename else ""
        raise BackupRefused(f"The disk did not take it: {error.strerror or error}{place}.") from error
    except DatabaseError as error:
        raise BackupRefused(f"The database can't be read: {str(error).strip()}") from error

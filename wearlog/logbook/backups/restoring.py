"""Restore a backup: check, unpack and migrate it next to the live data, then swap the two.

Until the swap the live data is untouched; afterwards it is kept under another name.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from django.core.management import call_command
from django.db import DatabaseError, connection
from django.db.migrations.loader import MigrationLoader

from wearlog.logbook.backups import archive, holding, making, postgres, sqlite, swapping
from wearlog.logbook.backups.archive import Manifest
from wearlog.logbook.backups.refusals import BackupRefused, InUse, Spoilt, TooNew
from wearlog.logbook.backups.swapping import Move, Schemas, SwapJournal
from wearlog.service import photos

STAGE = "restore-under-way"
SPARE_BYTES = 100_000_000
MEMBERS = {"sqlite": archive.SQLITE_MEMBER, "postgresql": archive.POSTGRES_MEMBER}
CALLED = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}


@dataclass(frozen=True)
class Restored:
    """What was restored, and where the previous data is kept: folders, and on PostgreSQL a schema."""

    manifest: Manifest
    aside: list[Path] = field(default_factory=list)
    schema_aside: str = ""
    lacking: list[str] = field(default_factory=list)
    """Photos in the restored log that have no file."""


def verify(path: Path) -> Manifest:
    """Verify the whole archive and that it can be restored here. Changes nothing. Raises BackupRefused."""
    manifest = archive.check(path)
    if manifest.database != connection.vendor:
        made, here = CALLED.get(manifest.database, "another database"), CALLED[connection.vendor]
        raise BackupRefused(
            f"{path} was made from {made}, and DATABASE_URL names {here} here: restore it on {made}, then "
            "carry the log over with export_logbook and import_logbook."
        )
    if MEMBERS[connection.vendor] not in manifest.members:
        raise archive.spoilt(path, "it holds no database")
    _see_schema(manifest.schema, manifest.program)
    return manifest


def restore(path: Path, *, at: datetime) -> Restored:
    """Replace the live data by the backup. Raises BackupRefused, with nothing changed, where the archive is
    damaged or too new, or another program uses the data."""
    home = making.data_dir()
    try:
        home.mkdir(mode=0o700, parents=True, exist_ok=True)
        with holding.hold_exclusively(home):
            return _restore(path, home, at=at)
    except OSError as error:
        raise BackupRefused(f"The data folder {home} can't be used ({error.strerror}).") from error


def _restore(path: Path, home: Path, *, at: datetime) -> Restored:
    manifest = verify(path)
    live = Path(connection.settings_dict["NAME"]) if connection.vendor == "sqlite" else home / "no-file"
    stages = list(dict.fromkeys([home / STAGE, live.parent / STAGE]))
    if photos.folder().is_symlink() or os.path.ismount(photos.folder()):
        raise BackupRefused(
            f"{photos.folder()} is a link or a disk of its own and can't be swapped: make it a plain folder."
        )
    if connection.vendor == "sqlite":
        sqlite.close_for_good(live)
    _clear(stages)
    for stage in stages:
        stage.mkdir(mode=0o700, parents=True)
    try:
        archive.require_room(home, 2 * manifest.unpacked_bytes, spare_bytes=SPARE_BYTES)
        manifest = archive.unpack(path, home / STAGE)
        if manifest.photos:
            (home / STAGE / "photos").mkdir(mode=0o700, exist_ok=True)
        on = _on_postgres if connection.vendor == "postgresql" else _on_sqlite
        lacking = on(manifest, home, live)
        for stage in stages:
            for one in stage.rglob("*"):
                holding.own_like_folder(one, stage.parent)
        moves, schemas = _planned(manifest, home, live, at)
        _swap(home, moves, schemas)
    finally:
        connection.close()
        if not (home / swapping.JOURNAL).exists():
            _clear(stages)
    return Restored(
        manifest,
        aside=sorted({Path(move.aside).parent for move in moves if Path(move.aside).exists()}),
        schema_aside=schemas.aside if schemas else "",
        lacking=lacking,
    )


def _swap(home: Path, moves: list[Move], schemas: Schemas | None) -> None:
    decided = SwapJournal(home, moves, schemas)
    try:
        decided.carry_out(connection.settings_dict)
    except InUse:  # refused by the database before anything was moved
        decided.take_back()
        raise


def _on_sqlite(manifest: Manifest, home: Path, live: Path) -> list[str]:
    """Check and migrate the unpacked database file; return the photos that will lack a file."""
    staged = home / STAGE / archive.SQLITE_MEMBER
    with sqlite.open_unchanged(staged) as opened:
        if not sqlite.is_whole(opened):
            raise Spoilt("The database in the backup is damaged. Nothing was changed. Take another backup.")
        _see_rows(sqlite.rows(opened), manifest)
        _see_schema(sqlite.schema(opened), manifest.program)
        names = sqlite.photo_names(opened)
    with _pointed_at(NAME=str(staged)):
        _migrate()
    sqlite.close_for_good(staged)
    if live.parent != home:
        shutil.copyfile(staged, live.parent / STAGE / staged.name)
        staged.unlink()
        staged = live.parent / STAGE / staged.name
    staged.chmod(0o600)
    with staged.open("rb+") as stream:
        os.fsync(stream.fileno())
    sqlite.close_for_good(live)
    return _lacking(names, manifest, home)


def _on_postgres(manifest: Manifest, home: Path, live: Path) -> list[str]:
    """The same, loaded into a schema beside the live one."""
    database = connection.settings_dict
    connection.close()
    postgres.load(database, home / STAGE / archive.POSTGRES_MEMBER, manifest.database_schema)
    with postgres.connected(database) as opened:
        _see_rows(postgres.rows(opened, postgres.STAGED), manifest)
        _see_schema(postgres.schema(opened, postgres.STAGED), manifest.program)
        names = postgres.photo_names(opened, postgres.STAGED)
    options = dict(database.get("OPTIONS") or {})
    options["options"] = f"{options.get('options', '')} -c search_path={postgres.STAGED}".strip()
    with _pointed_at(OPTIONS=options):
        _migrate()
    return _lacking(names, manifest, home)


def _planned(manifest: Manifest, home: Path, live: Path, at: datetime) -> tuple[list[Move], Schemas | None]:
    """The renames of the swap. The write-ahead log of a live database that could not be opened is moved
    first: next to another database it would corrupt it."""
    stamp = f"{at.astimezone(UTC):%Y%m%d-%H%M%S}"
    stage, aside = home / STAGE, _free(home / f"before-restore-{stamp}")
    moves, schemas = [], None
    if connection.vendor == "sqlite":
        beside = _free(live.parent / f"before-restore-{stamp}")
        for ending in ("-wal", "-shm", "-journal"):
            moves.append(Move(f"{live}{ending}", str(beside / f"{live.name}{ending}")))
        staged = live.parent / STAGE / archive.SQLITE_MEMBER
        moves.append(Move(str(live), str(beside / live.name), str(staged)))
    else:
        # With microseconds, so that two restores within a second get different names.
        kept = f"wearlog_before_{at.astimezone(UTC):%Y%m%d_%H%M%S_%f}"
        schemas = Schemas(live=manifest.database_schema, aside=kept, new=postgres.STAGED)
    names = ["photos"] if manifest.photos else []
    if manifest.keys:
        names += [archive.KEY_MEMBER, *(["https"] if (stage / "https").is_dir() else [])]
    moves += [Move(str(home / name), str(aside / name), str(stage / name)) for name in names]
    return moves, schemas


def _free(path: Path) -> Path:
    number, found = 1, path
    while found.exists():
        number += 1
        found = path.with_name(f"{path.name}-{number}")
    return found


def _clear(stages: list[Path]) -> None:
    for stage in stages:
        shutil.rmtree(stage, ignore_errors=True)
    if connection.vendor == "postgresql":
        postgres.drop_staged(connection.settings_dict)


def _see_rows(found: Mapping[str, int], manifest: Manifest) -> None:
    wrong = sorted(name for name in {*found, *manifest.rows} if found.get(name) != manifest.rows.get(name))
    if wrong:
        raise Spoilt(
            f"The backup's tables do not hold the rows that its manifest counts ({', '.join(wrong[:5])}). "
            "Nothing was changed. Take another backup."
        )


def _see_schema(applied: list[str], program: str) -> None:
    """Raise TooNew where the backup has migrations that this program lacks."""
    loader = MigrationLoader(None)
    known = {".".join(key) for key in loader.disk_migrations}
    known |= {".".join(old) for one in loader.disk_migrations.values() for old in one.replaces}
    newer = sorted(set(applied) - known)
    if newer:
        raise TooNew(
            f"The backup was made by a newer Wearlog ({program}), whose tables this one does not know "
            f"({', '.join(newer[:5])}). Nothing was changed: install that version, then restore."
        )


def _lacking(names: list[str], manifest: Manifest, home: Path) -> list[str]:
    """Photos of the restored log that will have no file: neither in the backup nor, where the backup contains
    no photos, among the live ones."""
    where = home / STAGE / "photos" if manifest.photos else photos.folder()
    return [name for name in names if not (where / name[:2] / f"{name}.jpg").is_file()]


@contextmanager
def _pointed_at(**changed: object) -> Iterator[None]:
    """Point Django's connection at the staged database within the block."""
    connection.close()
    before = {name: connection.settings_dict[name] for name in changed}
    connection.settings_dict.update(changed)
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict.update(before)


def _migrate() -> None:
    try:
        call_command("migrate", verbosity=0, interactive=False, no_backup=True)
    except DatabaseError as error:
        raise BackupRefused(
            f"The backup could not be brought to this version ({str(error).strip()}). Nothing was changed."
        ) from error

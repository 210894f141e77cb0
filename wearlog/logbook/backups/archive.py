"""The archive file: a .zip with a manifest of its members and a checksum ("seal") over all of its bytes.

The seal is the archive's comment, the last bytes of the file: SHA-256 over every byte before it. The
manifest's hashes alone would not detect a changed byte outside the members (padding, times, the directory).
Everything is read and written in chunks, so memory use does not grow with the size of the log.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from types import TracebackType
from typing import IO, TypedDict

from wearlog.logbook.backups.refusals import BackupRefused, Spoilt

FORMAT = "Wearlog backup 1"
MANIFEST = "manifest.json"
SQLITE_MEMBER, POSTGRES_MEMBER = "database.sqlite3", "database.pgdump"
KEY_MEMBER = "secret_key"
SEAL = b"Wearlog backup, SHA-256 of all before: "
DIGEST_BYTES = 64
CHUNK = 1024 * 1024

MAY_BE_INSIDE = re.compile(
    rf"{re.escape(SQLITE_MEMBER)}|{re.escape(POSTGRES_MEMBER)}|{re.escape(MANIFEST)}|{KEY_MEMBER}"
    r"|photos/[0-9a-f]{2}/[0-9a-f]{32}(-small)?\.jpg|https/(authority|server)\.(crt|key)"
)
"""Only members with such names are read, so that no name can lead out of the folder that is unpacked to."""

MOST_MEMBERS = 1_000_000
MOST_MANIFEST_BYTES = 256 * CHUNK
MOST_RATIO, RATIO_FROM_BYTES = 100, CHUNK
"""The largest allowed ratio of unpacked to packed size (against zip bombs); small members are exempt."""

READING_FAILS = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError)
"""What the standard library raises for a damaged archive."""


class Member(TypedDict):
    """What the manifest states of a member: its SHA-256 in hexadecimal digits, and its size."""

    sha256: str
    bytes: int


@dataclass(frozen=True)
class Manifest:
    """What an archive holds. `schema` lists the migrations that its database has, as `app.name`; `rows`
    counts by table; `members` has SHA-256 and size in bytes by name."""

    made_at: str
    reason: str
    program: str
    database: str
    database_version: str
    database_schema: str
    schema: list[str]
    rows: dict[str, int]
    photos: bool
    keys: bool
    photos_lacking: list[str] = field(default_factory=list)
    members: dict[str, Member] = field(default_factory=dict)

    @property
    def unpacked_bytes(self) -> int:
        return sum(member["bytes"] for member in self.members.values())


class Writer:
    """Writes an archive. It is valid only after `close`, which adds the seal."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.members: dict[str, Member] = {}
        handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
        self.stream = os.fdopen(handle, "w+b")
        self.archive = zipfile.ZipFile(self.stream, "w", allowZip64=True)

    def __enter__(self) -> Writer:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        with suppress(OSError, ValueError):  # the incomplete file is discarded in any case
            self.archive.close()
        with suppress(OSError):
            self.stream.close()

    def add(self, name: str, source: IO[bytes], *, packed: bool) -> None:
        """Add the stream's content as a member; `packed`: whether to compress it."""
        digest, size = hashlib.sha256(), 0
        entry = zipfile.ZipInfo(name)
        entry.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        entry.external_attr = 0o600 << 16
        with self.archive.open(entry, "w", force_zip64=True) as member:
            while piece := source.read(CHUNK):
                digest.update(piece)
                size += len(piece)
                member.write(piece)
        self.members[name] = {"sha256": digest.hexdigest(), "bytes": size}

    def close(self, manifest: Manifest) -> None:
        """Add the manifest, seal the file and fsync it."""
        content = {"format": FORMAT} | asdict(manifest) | {"members": self.members}
        entry = zipfile.ZipInfo(MANIFEST)
        entry.compress_type = zipfile.ZIP_DEFLATED
        entry.external_attr = 0o600 << 16
        self.archive.writestr(entry, json.dumps(content, indent=1, sort_keys=True))
        self.archive.comment = SEAL + b"0" * DIGEST_BYTES
        self.archive.close()
        length = self.stream.seek(0, os.SEEK_END)
        digest = seal_of(self.stream, length)
        self.stream.seek(length - DIGEST_BYTES)
        self.stream.write(digest)
        self.stream.flush()
        os.fsync(self.stream.fileno())
        self.stream.close()


def seal_of(stream: IO[bytes], length: int) -> bytes:
    """SHA-256, as 64 hexadecimal digits, of all but the last 64 bytes of the file."""
    digest, left = hashlib.sha256(), length - DIGEST_BYTES
    stream.seek(0)
    while left and (piece := stream.read(min(CHUNK, left))):
        digest.update(piece)
        left -= len(piece)
    return digest.hexdigest().encode()


def check(path: Path) -> Manifest:
    """Verify every byte against seal and manifest, without unpacking to disk. Raises Spoilt, or BackupRefused
    where the file can't be read at all."""
    with Opened(path) as (archive, manifest):
        for name, stated in manifest.members.items():
            for _piece in _pieces(archive, name, stated):
                pass
        return manifest


def unpack(path: Path, folder: Path) -> Manifest:
    """Unpack all members into an empty folder, verifying them again; the files are fsynced when this returns.
    Raises as `check` does."""
    with Opened(path) as (archive, manifest):
        folders = {folder}
        for name, stated in manifest.members.items():
            target = folder / name
            for parent in reversed(target.relative_to(folder).parents):
                (folder / parent).mkdir(mode=0o700, exist_ok=True)
                folders.add(folder / parent)
            handle = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
            with os.fdopen(handle, "wb") as stream:
                for piece in _pieces(archive, name, stated):
                    stream.write(piece)
                stream.flush()
                os.fsync(stream.fileno())
        for one in folders:
            sync_folder(one)
        return manifest


class Opened:
    """A context manager that opens the archive, verifies seal, names and sizes, and gives it with its
    manifest."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __enter__(self) -> tuple[zipfile.ZipFile, Manifest]:
        try:
            self.stream = self.path.open("rb")
        except OSError as error:
            raise BackupRefused(f"The file {self.path} can't be read ({error.strerror}).") from error
        try:
            self._check_seal()
            self.archive = zipfile.ZipFile(self.stream)
            return self.archive, self._read_manifest()
        except READING_FAILS as error:
            self.stream.close()
            raise spoilt(self.path, str(error)) from error
        except OSError as error:
            self.stream.close()
            raise BackupRefused(f"The file {self.path} can't be read ({error.strerror}).") from error
        except BaseException:
            self.stream.close()
            raise

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.archive.close()
        self.stream.close()
        if isinstance(error, READING_FAILS) and not isinstance(error, BackupRefused):
            raise spoilt(self.path, str(error)) from error

    def _check_seal(self) -> None:
        length = self.stream.seek(0, os.SEEK_END)
        if length < len(SEAL) + DIGEST_BYTES:
            raise spoilt(self.path, "it is too short")
        self.stream.seek(length - DIGEST_BYTES - len(SEAL))
        if self.stream.read(len(SEAL)) != SEAL:
            raise spoilt(self.path, "its end is missing")
        stated = self.stream.read(DIGEST_BYTES)
        if seal_of(self.stream, length) != stated:
            raise spoilt(self.path, "its bytes are not the ones that were written")

    def _read_manifest(self) -> Manifest:
        entries = self.archive.infolist()
        names = [entry.filename for entry in entries]
        if len(entries) > MOST_MEMBERS or len(set(names)) != len(names):
            raise spoilt(self.path, "it holds too many files, or one twice")
        for entry in entries:
            if not MAY_BE_INSIDE.fullmatch(entry.filename) or entry.flag_bits & 1:
                raise spoilt(self.path, f"{entry.filename[:80]!r} does not belong into a backup")
            if entry.file_size > max(RATIO_FROM_BYTES, MOST_RATIO * entry.compress_size):
                raise spoilt(self.path, f"{entry.filename} would unpack to over a hundred times its size")
        if MANIFEST not in names or self.archive.getinfo(MANIFEST).file_size > MOST_MANIFEST_BYTES:
            raise spoilt(self.path, "it has no manifest, or one that is too long")
        manifest = manifest_of(json.loads(self.archive.read(MANIFEST)), self.path)
        if {*manifest.members, MANIFEST} != set(names):
            raise spoilt(self.path, "its files are not the ones that its manifest names")
        for name, stated in manifest.members.items():
            if self.archive.getinfo(name).file_size != stated["bytes"]:
                raise spoilt(self.path, f"{name} has not the length that its manifest states")
        return manifest


def manifest_of(content: object, path: Path) -> Manifest:
    """The manifest from its JSON. Raises Spoilt, or BackupRefused for an unknown version of the format."""
    if not isinstance(content, dict) or not str(content.get("format", "")).startswith("Wearlog backup "):
        raise spoilt(path, "its manifest can't be understood")
    if content["format"] != FORMAT:
        raise BackupRefused(
            f"{path} is of the format {content['format']!r}, which this Wearlog does not know: install the "
            f"version that made it ({content.get('program', 'not told')}) or a newer one."
        )
    kinds: dict[str, type] = {
        "made_at": str,
        "reason": str,
        "program": str,
        "database": str,
        "database_version": str,
    }
    kinds |= {"database_schema": str, "schema": list, "rows": dict, "photos": bool, "keys": bool}
    kinds |= {"photos_lacking": list, "members": dict}
    if any(not isinstance(content.get(name), kind) for name, kind in kinds.items()):
        raise spoilt(path, "its manifest can't be understood")
    for stated in content["members"].values():
        if (
            not isinstance(stated, dict)
            or not re.fullmatch(r"[0-9a-f]{64}", str(stated.get("sha256")))
            or not isinstance(stated.get("bytes"), int)
        ):
            raise spoilt(path, "its manifest can't be understood")
    return Manifest(**{name: content[name] for name in kinds})


def _pieces(archive: zipfile.ZipFile, name: str, stated: Member) -> Iterator[bytes]:
    digest = hashlib.sha256()
    with archive.open(name) as member:
        while piece := member.read(CHUNK):
            digest.update(piece)
            yield piece
    if digest.hexdigest() != stated["sha256"]:
        raise ValueError(f"{name} is not what was written")


def spoilt(path: Path, why: str) -> Spoilt:
    return Spoilt(
        f"{path} is no whole backup of Wearlog: {why}. Nothing was changed. Take another one, or copy this "
        "one anew from where it came."
    )


def sync_folder(folder: Path) -> None:
    """Fsync a folder's entries, where the system can."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:  # Windows can't open folders
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def require_room(folder: Path, needed_bytes: int, *, spare_bytes: int) -> None:
    """Raise BackupRefused where the folder's disk has less than `needed_bytes` plus `spare_bytes` free."""
    free = shutil.disk_usage(folder).free
    if free < needed_bytes + spare_bytes:
        raise BackupRefused(
            f"The disk of {folder} has {free // 1_000_000} MB free and "
            f"{(needed_bytes + spare_bytes) // 1_000_000} MB are needed: make room, or name another disk."
        )

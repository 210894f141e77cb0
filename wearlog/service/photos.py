"""Photos of work, incidents and notes: files in the data folder, with one row each.

The complete file is written and synced to disk before its row is stored. A crash between the two leaves a
file that nothing refers to, never a row without a file.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.people import audit
from wearlog.people.models import LogRecord, User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.runs.models import ShiftNote
from wearlog.service.models import Incident, Photo, Service
from wearlog.service.pictures import FIELD, Picture

MOST_PHOTOS = 6
"""Per entry: enough to show a part from all sides, and a limit for the disk."""
COLUMN: Mapping[type[LogRecord], str] = {Service: "service", Incident: "incident", ShiftNote: "note"}

ADD_PHOTO, DELETE_PHOTO = "add photo", "delete photo"
"""The actions in the audit trail; their rows tell of the photo and nothing else of the record."""


class NotKept(Exception):
    """The disk could not store a photo. The entry to which it belongs is stored."""


def folder() -> Path:
    return Path(settings.DATA_DIR) / "photos"


def path_of(name: str, *, small: bool = False) -> Path:
    """The path of a photo. `name` is always generated here (hexadecimal digits), never sent by a phone."""
    return folder() / name[:2] / f"{name}{'-small' if small else ''}.jpg"


def owner_of(record: LogRecord) -> tuple[str, int]:
    """The key of a record in `photos_of`: its model's name and its primary key."""
    return record._meta.model_name or "", record.pk


def photos_of(records: Iterable[LogRecord]) -> dict[tuple[str, int], list[Photo]]:
    """The photos of records of any kind, by `owner_of`, in the order in which they were added; one query,
    none if no record can have photos."""
    keys: dict[str, list[int]] = {}
    for record in records:
        column = COLUMN.get(type(record))
        if column is not None:
            keys.setdefault(column, []).append(record.pk)
    found: dict[tuple[str, int], list[Photo]] = {}
    if not keys:
        return found
    wanted = Photo.objects.none()
    for column, own in keys.items():
        wanted = wanted | Photo.objects.filter(**{f"{column}__in": own})
    for photo in wanted.order_by("entered_at", "pk"):
        found.setdefault(photo.belongs_to, []).append(photo)
    return found


@transaction.atomic
def keep(*, by: User | None, at: datetime, record: LogRecord, pictures: Sequence[Picture]) -> list[Photo]:
    """Store pictures with a record that is not voided. A picture that the record already has is skipped, so
    that an entry sent twice has its photos once. Raises Refused, and NotKept if the disk can't store one;
    then none is stored."""
    require(by, Permission.LOG)
    column = COLUMN.get(type(record))
    if column is None:
        raise Refused(_("Photos belong to work, incidents and notes."), field=FIELD)
    # The row lock serialises two phones, so that neither counts photos without those of the other.
    fresh = type(record)._default_manager.select_for_update().get(pk=record.pk)
    if fresh.voided_at is not None:
        raise Refused(_("This record is crossed out and takes no photo. Log it anew."), field=FIELD)
    there = set(Photo.objects.filter(**{column: fresh}).values_list("digest", flat=True))
    new = list({one.digest: one for one in pictures if one.digest not in there}.values())
    if len(there) + len(new) > MOST_PHOTOS:
        raise Refused(
            _("An entry takes at most %(most)s photos. Choose the ones that tell most.")
            % {"most": MOST_PHOTOS},
            field=FIELD,
        )
    written: list[Path] = []
    try:
        return [_stored(by, at, fresh, column, one, written) for one in new]
    except BaseException as error:
        for path in written:
            with suppress(OSError):
                path.unlink()
        if isinstance(error, OSError):
            raise NotKept(str(error.strerror or error)) from error
        raise


def _stored(
    by: User | None, at: datetime, record: LogRecord, column: str, one: Picture, written: list[Path]
) -> Photo:
    name = secrets.token_hex(16)
    for content, small in ((one.jpeg, False), (one.small, True)):
        path = path_of(name, small=small)
        make_folder(path.parent)
        write_through(path, content)
        written.append(path)
    photo = Photo(
        name=name,
        digest=one.digest,
        width=one.width,
        height=one.height,
        size_bytes=len(one.jpeg),
        entered_at=at,
        entered_by=by,
        **{column: record},
    )
    photo.save()
    audit.write(at=at, by=by, action=ADD_PHOTO, record=record, new={"photo": name, "digest": one.digest})
    return photo


def delete(*, photo: Photo, by: User | None, at: datetime, reason: str) -> None:
    """Delete a photo and its files; that it was there, who took it away and why stays with its record. A
    crash leaves files without a row, which nobody can open. Call it in a transaction."""
    record = photo.service or photo.incident or photo.note
    assert record is not None  # a constraint of the database
    name = photo.name
    audit.write(
        at=at,
        by=by,
        action=DELETE_PHOTO,
        record=record,
        old={"photo": name, "digest": photo.digest},
        reason=reason,
    )
    photo.delete()
    transaction.on_commit(lambda: _take_away(name), robust=True)


def _take_away(name: str) -> None:
    for small in (False, True):
        with suppress(FileNotFoundError):
            path_of(name, small=small).unlink()


def make_folder(path: Path) -> None:
    """Create the folder of some photos. Only the user of this program can read it, as with each photo."""
    for one in (folder(), path):
        one.mkdir(mode=0o700, parents=True, exist_ok=True)


def owners_alone(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def write_through(path: Path, content: bytes) -> None:
    """Write a file that is either complete or absent, and that survives a power cut. Raises OSError."""
    beside = path.with_name(f".{path.name}-{secrets.token_hex(4)}")
    try:
        with open(beside, "xb", opener=owners_alone) as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(beside, path)
    except BaseException:
        with suppress(OSError):
            beside.unlink()
        raise
    handle = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def lacking_and_left_over() -> tuple[list[str], list[Path]]:
    """Names of photos whose file is missing, and files without a row (after a crash, or with another
    database). Reads the whole folder."""
    known = set(Photo.objects.values_list("name", flat=True))
    there = {path.stem.removesuffix("-small"): path for path in folder().glob("*/*.jpg")}
    lacking = sorted(name for name in known if not path_of(name).is_file())
    return lacking, sorted(path for name, path in there.items() if name not in known)

"""The archive file: whatever is not just as it was written is found, and nothing of it reaches the disk."""

from __future__ import annotations

import hashlib
import json
import os
import random
import stat
import zipfile
from dataclasses import asdict
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest

from wearlog.logbook.backups import archive
from wearlog.logbook.backups.archive import Manifest, Writer
from wearlog.logbook.backups.refusals import BackupRefused, Spoilt

PHOTO = "photos/0a/0a000000000000000000000000000000.jpg"
EMPTY = Manifest(
    made_at="2026-03-20T18:00:00+00:00",
    reason="by-hand",
    program="0.1.0",
    database="sqlite",
    database_version="3",
    database_schema="",
    schema=["people.0001_initial"],
    rows={"people_user": 1},
    photos=True,
    keys=False,
)


@pytest.fixture
def whole(tmp_path: Path) -> Path:
    path = tmp_path / "whole.zip"
    dice = random.Random(1)
    with Writer(path) as writer:
        text = b"".join(b"run %d of P1, %d kg\n" % (n, dice.randint(1, 900)) for n in range(3000))
        writer.add(archive.SQLITE_MEMBER, BytesIO(text), packed=True)
        writer.add(PHOTO, BytesIO(dice.randbytes(20_000)), packed=False)
        writer.close(EMPTY)
    return path


def sealed(path: Path, inside: dict[str, bytes], **changed: Any) -> Path:
    """An archive with a right seal and a manifest of these members, as somebody with bad intent makes it."""
    stated = {n: {"sha256": hashlib.sha256(c).hexdigest(), "bytes": len(c)} for n, c in inside.items()}
    content = {"format": archive.FORMAT} | asdict(EMPTY) | {"members": stated} | changed
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        for name, piece in inside.items():
            made.writestr(name, piece)
        made.writestr(archive.MANIFEST, json.dumps(content))
        made.comment = archive.SEAL + b"0" * archive.DIGEST_BYTES
    body = path.read_bytes()[: -archive.DIGEST_BYTES]
    path.write_bytes(body + hashlib.sha256(body).hexdigest().encode())
    return path


def test_a_whole_archive_is_found_whole_and_unpacks_to_what_went_in(whole: Path, tmp_path: Path) -> None:
    manifest = archive.check(whole)
    assert manifest.rows == {"people_user": 1}
    assert sorted(manifest.members) == [archive.SQLITE_MEMBER, PHOTO]
    (tmp_path / "out").mkdir()
    archive.unpack(whole, tmp_path / "out")
    photo = (tmp_path / "out" / PHOTO).read_bytes()
    assert hashlib.sha256(photo).hexdigest() == manifest.members[PHOTO]["sha256"]
    assert stat.S_IMODE((tmp_path / "out" / PHOTO).stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "out" / PHOTO).parent.stat().st_mode) == 0o700


def test_an_ordinary_program_reads_the_archive_and_only_its_owner_may(whole: Path) -> None:
    with zipfile.ZipFile(whole) as opened:
        assert opened.testzip() is None
        assert archive.MANIFEST in opened.namelist()
    assert stat.S_IMODE(whole.stat().st_mode) == 0o600


def test_64_spoilt_bytes_are_found_wherever_they_are(whole: Path) -> None:
    content, dice = whole.read_bytes(), random.Random(64)
    last = len(content) - 64
    places = [0, last, last - 1, *range(0, 200, 7), *(last - step for step in range(0, 400, 7))]
    places += [dice.randint(0, last) for _ in range(500)]
    missed = []
    for place in places:
        bytes_ = bytearray(content)
        for step in range(64):
            bytes_[place + step] ^= dice.randint(1, 255)
        whole.write_bytes(bytes_)
        try:
            archive.check(whole)
            missed.append(place)
        except Spoilt:
            pass
    assert missed == []


def test_one_turned_bit_is_found_wherever_it_is(whole: Path) -> None:
    content, dice = whole.read_bytes(), random.Random(1)
    missed = []
    for place in [
        *range(len(content) - 300, len(content)),
        *(dice.randrange(len(content)) for _ in range(300)),
    ]:
        bytes_ = bytearray(content)
        bytes_[place] ^= 1 << dice.randrange(8)
        whole.write_bytes(bytes_)
        try:
            archive.check(whole)
            missed.append(place)
        except Spoilt:
            pass
    assert missed == []


def test_a_file_that_was_cut_off_or_added_to_is_refused(whole: Path) -> None:
    content, dice = whole.read_bytes(), random.Random(2)
    for length in [0, 1, 63, 64, len(content) - 1, *(dice.randrange(len(content)) for _ in range(100))]:
        whole.write_bytes(content[:length])
        with pytest.raises(Spoilt):
            archive.check(whole)
    for more in (b"\0", b"x" * 500):
        whole.write_bytes(content + more)
        with pytest.raises(Spoilt):
            archive.check(whole)


@pytest.mark.parametrize(
    "name",
    [
        "../outside", "/etc/passwd", "photos/../../outside.jpg", "photos/0a/../../../x.jpg", "C:\\x",
        "wearlog.sqlite3", "https/../secret_key", "photos/zz/0a000000000000000000000000000000.jpg",
        "database.sqlite3/x", "",
    ],
)  # fmt: skip
def test_a_name_that_does_not_belong_into_a_backup_is_refused(name: str, tmp_path: Path) -> None:
    bad = sealed(tmp_path / "bad.zip", {archive.SQLITE_MEMBER: b"x", name or "photos/": b"y"})
    (tmp_path / "out").mkdir()
    for deed in (lambda: archive.check(bad), lambda: archive.unpack(bad, tmp_path / "out")):
        with pytest.raises(Spoilt):
            deed()
    assert list((tmp_path / "out").rglob("*")) == []


def test_a_bomb_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    bomb = sealed(tmp_path / "bomb.zip", {archive.SQLITE_MEMBER: b"\0" * 5_000_000})
    with pytest.raises(Spoilt, match="hundred times"):
        archive.check(bomb)


def test_files_other_than_the_manifest_states_are_refused(tmp_path: Path) -> None:
    other = sealed(tmp_path / "other.zip", {archive.SQLITE_MEMBER: b"x"}, members={})
    with pytest.raises(Spoilt, match="not the ones"):
        archive.check(other)
    wrong = {archive.SQLITE_MEMBER: {"sha256": "0" * 64, "bytes": 1}}
    with pytest.raises(Spoilt, match="not what was written"):
        archive.check(sealed(tmp_path / "wrong.zip", {archive.SQLITE_MEMBER: b"x"}, members=wrong))


@pytest.mark.parametrize("changed", [{"rows": 3}, {"members": {"x": 1}}, {"schema": None}, {"photos": "yes"}])
def test_a_manifest_that_can_not_be_understood_is_refused(changed: dict[str, Any], tmp_path: Path) -> None:
    with pytest.raises(Spoilt):
        archive.check(sealed(tmp_path / "odd.zip", {archive.SQLITE_MEMBER: b"x"}, **changed))


def test_a_format_of_later_days_is_refused_with_the_version_that_made_it(tmp_path: Path) -> None:
    later = sealed(
        tmp_path / "l.zip", {archive.SQLITE_MEMBER: b"x"}, format="Wearlog backup 2", program="9.1"
    )
    with pytest.raises(BackupRefused, match=r"9\.1"):
        archive.check(later)


def test_what_is_no_archive_at_all_is_refused_and_named(tmp_path: Path) -> None:
    for content in (b"", b"not a zip" * 100, os.urandom(3000)):
        path = tmp_path / "x.zip"
        path.write_bytes(content)
        with pytest.raises(Spoilt, match=r"x\.zip"):
            archive.check(path)
    with pytest.raises(BackupRefused, match="can't be read"):
        archive.check(tmp_path / "nothing.zip")


def test_too_little_room_is_told_before_anything_is_written(tmp_path: Path) -> None:
    with pytest.raises(BackupRefused, match="make room"):
        archive.require_room(tmp_path, 10**18, spare_bytes=0)

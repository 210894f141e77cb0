"""Photos in the data folder: the file before its row, each once, by random names, all or none."""

from __future__ import annotations

import os
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from tests.service.photographs import photo
from wearlog.equipment.models import Press
from wearlog.logbook import actions
from wearlog.people.models import AuditEntry, LogRecord, Mill, Role, User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.runs.models import Crop, Run, ShiftNote
from wearlog.service import photos
from wearlog.service.models import Incident, Photo, Service
from wearlog.service.pictures import Picture, picture_of

NOW = datetime(2026, 3, 20, 18, 0, tzinfo=UTC)


@pytest.fixture
def folder(settings: Any, tmp_path: Path) -> Path:
    settings.DATA_DIR = tmp_path
    return tmp_path / "photos"


@pytest.fixture
def press(mill: Mill) -> Press:
    return Press.objects.create(code="P1")


@pytest.fixture
def work(press: Press) -> Service:
    return Service.objects.create(ref="w", press=press, done_at=NOW, action="inspect")


def picture(side: int = 60) -> Picture:
    return picture_of(photo((side, 40)))


def files(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.rglob("*") if path.is_file())


def keep(by: User, record: LogRecord, *pictures: Picture) -> list[Photo]:
    return actions.keep_photos(by=by, at=NOW, record=record, pictures=pictures)


def test_a_photo_is_two_files_one_row_and_one_line_of_the_trail(
    folder: Path, work: Service, operator: User
) -> None:
    (kept,) = keep(operator, work, picture())
    assert re.fullmatch(r"[0-9a-f]{32}", kept.name)
    assert files(folder) == [f"{kept.name}-small.jpg", f"{kept.name}.jpg"]
    assert photos.path_of(kept.name).read_bytes() == picture().jpeg
    assert (kept.width, kept.height, kept.entered_by) == (60, 40, operator)
    row = AuditEntry.objects.get(action="add photo")
    assert (row.record, row.record_id, row.by) == ("service", work.pk, operator)
    assert row.new == {"photo": kept.name, "digest": picture().digest}


def test_work_incidents_and_notes_take_photos_and_runs_do_not(
    folder: Path, press: Press, work: Service, operator: User
) -> None:
    incident = Incident.objects.create(ref="i", press=press, happened_at=NOW, kind="noise")
    note = ShiftNote.objects.create(written_at=NOW, by_name="Mira", text="Look.")
    records: list[LogRecord] = [work, incident, note]
    for record in records:
        keep(operator, record, picture())
    found = photos.photos_of(records)
    assert {key: len(each) for key, each in found.items()} == {
        photos.owner_of(record): 1 for record in records
    }
    run = Run.objects.create(
        ref="r", press=press, crop=Crop.objects.create(code="flax"), started_at=NOW, seed_kg=1
    )
    with pytest.raises(Refused, match="belong to work"):
        keep(operator, run, picture())


def test_the_same_file_sent_again_is_one_photo(folder: Path, work: Service, operator: User) -> None:
    keep(operator, work, picture(), picture())
    assert keep(operator, work, picture()) == []
    assert Photo.objects.count() == 1
    assert len(files(folder)) == 2


def test_an_entry_takes_six(folder: Path, work: Service, operator: User) -> None:
    keep(operator, work, *(picture(side) for side in range(50, 56)))
    with pytest.raises(Refused, match="at most 6 photos"):
        keep(operator, work, picture(70))
    assert Photo.objects.count() == 6


def test_a_record_that_is_struck_out_keeps_its_photos_and_takes_no_more(
    folder: Path, work: Service, owner: User
) -> None:
    keep(owner, work, picture())
    actions.void(by=owner, at=NOW, record=work, reason="twice")
    assert len(photos.photos_of([work])[photos.owner_of(work)]) == 1
    with pytest.raises(Refused, match="crossed out"):
        keep(owner, work, picture(70))


def test_a_correction_keeps_the_photos(folder: Path, work: Service, owner: User) -> None:
    keep(owner, work, picture())
    actions.correct(by=owner, at=NOW, record=work, changes={"finding": "worn"}, reason="seen on the photo")
    assert len(photos.photos_of([work])[photos.owner_of(work)]) == 1


def test_who_reads_only_adds_none(folder: Path, work: Service) -> None:
    viewer = User.objects.create_user("vera", role=Role.VIEWER)
    with pytest.raises(NotAllowed):
        keep(viewer, work, picture())
    assert not folder.exists()


def test_a_full_disk_keeps_none_of_several_and_leaves_nothing_behind(
    folder: Path, work: Service, operator: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk fills up with the third of four files: `os.fsync` fails as it does then (ENOSPC)."""
    real, calls = os.fsync, []

    def fsync(handle: int) -> None:
        calls.append(handle)
        if len(calls) == 5:
            raise OSError(28, "No space left on device")
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    with pytest.raises(photos.NotKept, match="No space left"):
        keep(operator, work, picture(50), picture(51))
    assert (files(folder), Photo.objects.count(), AuditEntry.objects.count()) == ([], 0, 0)
    assert Service.objects.filter(pk=work.pk).exists()
    monkeypatch.undo()
    assert len(keep(operator, work, picture(50), picture(51))) == 2


@pytest.mark.django_db(transaction=True)
def test_a_crash_before_the_row_leaves_a_file_that_nobody_sees(
    folder: Path, work: Service, operator: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A process that ends between the files and the row tidies nothing up: the unlinking is taken away."""
    monkeypatch.setattr(Path, "unlink", lambda self, missing_ok=False: None)

    def dies(*args: object, **more: object) -> None:
        raise SystemExit

    monkeypatch.setattr(Photo, "save", dies)
    with pytest.raises(SystemExit):
        keep(operator, work, picture())
    monkeypatch.undo()
    assert Photo.objects.count() == 0
    assert len(files(folder)) == 2
    lacking, left_over = photos.lacking_and_left_over()
    assert lacking == []
    assert len(left_over) == 1


def test_a_half_written_file_never_has_the_name_of_a_photo(
    folder: Path, work: Service, operator: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whenever the disk is waited for, what is there under a photo's name is whole."""
    real, seen = os.fsync, []

    def fsync(handle: int) -> None:
        real(handle)
        named = [path for path in folder.rglob("*.jpg") if not path.name.startswith(".")]
        seen.append([path.read_bytes()[-2:] for path in named])

    monkeypatch.setattr(os, "fsync", fsync)
    keep(operator, work, picture())
    assert seen[0] == []
    assert all(end == b"\xff\xd9" for ends in seen for end in ends)


def test_a_photo_whose_file_is_gone_is_told(folder: Path, work: Service, operator: User) -> None:
    (kept,) = keep(operator, work, picture())
    photos.path_of(kept.name).unlink()
    assert photos.lacking_and_left_over()[0] == [kept.name]


@pytest.mark.parametrize("columns", [(), ("service", "note")])
def test_the_database_refuses_a_photo_of_no_record_or_of_two(
    folder: Path, work: Service, columns: tuple[str, ...]
) -> None:
    note = ShiftNote.objects.create(written_at=NOW, by_name="Mira", text="Look.")
    given = {name: {"service": work, "note": note}[name] for name in columns}
    with pytest.raises(IntegrityError), transaction.atomic():
        Photo.objects.create(
            name="a",
            digest="b",
            width=1,
            height=1,
            size_bytes=1,
            entered_at=NOW,
            **given,
        )


def test_the_database_refuses_the_same_file_twice_with_one_record(
    folder: Path, work: Service, operator: User
) -> None:
    (kept,) = keep(operator, work, picture())
    with pytest.raises(IntegrityError), transaction.atomic():
        Photo.objects.create(
            name="other", digest=kept.digest, width=1, height=1, size_bytes=1, entered_at=NOW, service=work
        )

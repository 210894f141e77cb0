"""Where backups go by themselves, which are kept, and when the next one is due."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.test import Client
from pytest_django import Settings

from wearlog.config.doctor import machine as doctor_machine
from wearlog.logbook.backups import folder, status
from wearlog.logbook.backups.refusals import BackupRefused
from wearlog.logbook.backups.retention import BackupFile, RetentionRule, expired, read_retention_rule
from wearlog.people.models import User

NOW = datetime(2026, 11, 30, 12, tzinfo=UTC)


def kept(*moments: datetime) -> list[BackupFile]:
    return [BackupFile(Path(f"{moment:%Y%m%d%H}"), moment, "scheduled") for moment in moments]


def test_two_years_of_days_leave_seven_days_four_weeks_and_twelve_months() -> None:
    made = kept(*(NOW - timedelta(days=number) for number in range(730)))
    gone = expired(made, RetentionRule(7, 4, 12), at=NOW)
    left = sorted(one.at.date().isoformat() for one in made if one not in gone)
    assert left == [
        "2025-12-31", "2026-01-31", "2026-02-28", "2026-03-31", "2026-04-30", "2026-05-31", "2026-06-30",
        "2026-07-31", "2026-08-31", "2026-09-30", "2026-10-31", "2026-11-15", "2026-11-22", "2026-11-24",
        "2026-11-25", "2026-11-26", "2026-11-27", "2026-11-28", "2026-11-29", "2026-11-30",
    ]  # fmt: skip


def test_of_one_day_the_last_one_stays() -> None:
    made = kept(*(NOW - timedelta(hours=number) for number in range(4)))
    assert [one.at for one in made if one not in expired(made, RetentionRule(), at=NOW)] == [NOW]


def test_the_newest_one_stays_however_old_and_what_is_dated_ahead_is_left_alone() -> None:
    made = kept(NOW - timedelta(days=900), NOW - timedelta(days=950), NOW + timedelta(days=400))
    assert [one.at for one in expired(made, RetentionRule(1, 0, 0), at=NOW)] == [NOW - timedelta(days=950)]


def test_how_many_are_kept_is_read_and_what_is_no_number_is_refused_by_name() -> None:
    assert read_retention_rule("") == RetentionRule(7, 4, 12)
    assert read_retention_rule(" 3, 0,2") == RetentionRule(3, 0, 2)
    for text in ("7", "7,4", "a,b,c", "0,1,1", "-1,2,3", "1,2,3,4"):
        with pytest.raises(ImproperlyConfigured, match="BACKUP_KEEP"):
            read_retention_rule(text)


def test_clearing_deletes_backups_only_and_keeps_five_of_those_before_a_step(tmp_path: Path) -> None:
    for number in range(8):
        (tmp_path / folder.name_of(NOW - timedelta(days=number), "before-import")).touch()
        (tmp_path / folder.name_of(NOW - timedelta(hours=number), "scheduled")).touch()
    others = (
        "wearlog-of-mine.zip",
        "wearlog-20261130-120000-scheduled.zip.txt",
        "wearlog-20269999-000000-scheduled.zip",
    )
    for name in others:
        (tmp_path / name).touch()
    folder.clear(tmp_path, RetentionRule(), at=NOW)
    left = {path.name for path in tmp_path.iterdir()}
    assert left >= set(others)
    assert sum("before-import" in name for name in left) == 5
    assert folder.name_of(NOW, "scheduled") in left
    assert len(left) == 3 + 5 + 1


def test_a_named_folder_must_be_there_and_is_marked_at_its_first_use(tmp_path: Path) -> None:
    disk, home = tmp_path / "disk", tmp_path / "data"
    with pytest.raises(BackupRefused, match="is not there"):
        folder.require_ready(disk, data_dir=home, known=[])
    assert not disk.exists()
    disk.mkdir()
    folder.require_ready(disk, data_dir=home, known=[])
    assert (disk / folder.MARKER).is_file()


def test_a_folder_whose_disk_is_not_mounted_is_refused_until_it_is_back(tmp_path: Path) -> None:
    disk, home = tmp_path / "disk", tmp_path / "data"
    disk.mkdir()
    folder.require_ready(disk, data_dir=home, known=[])
    os.rename(disk, tmp_path / "unplugged")
    disk.mkdir()  # the empty place where a disk is mounted
    with pytest.raises(BackupRefused, match="mount its disk"):
        folder.require_ready(disk, data_dir=home, known=[str(disk)])
    assert list(disk.iterdir()) == []
    folder.require_ready(disk, data_dir=home, known=[str(disk)], new=True)
    assert (disk / folder.MARKER).is_file()


def test_one_is_due_after_a_day_an_hour_after_a_failure_and_after_a_clock_that_was_ahead() -> None:
    def due(**known: datetime) -> bool:
        return status.Status(**known).is_due(at=NOW)  # type: ignore[arg-type]

    assert due()
    assert due(kept_at=NOW - timedelta(hours=23))
    assert not due(kept_at=NOW - timedelta(hours=22))
    assert due(kept_at=NOW + timedelta(days=300))
    assert due(made_at=NOW)  # one that was taken away
    assert not due(failed_at=NOW - timedelta(minutes=59))
    assert due(failed_at=NOW - timedelta(minutes=61))
    assert due(failed_at=NOW + timedelta(days=300))


def test_a_failure_is_remembered_beside_the_last_good_one_until_the_next_good_one(tmp_path: Path) -> None:
    status.made(tmp_path, at=NOW, file=tmp_path / "a.zip", folder=tmp_path)
    status.failed(tmp_path, at=NOW + timedelta(days=1), why="No room.")
    found = status.read(tmp_path)
    assert (found.made_at, found.why, found.folders) == (NOW, "No room.", [str(tmp_path)])
    status.made(tmp_path, at=NOW + timedelta(days=2), file=tmp_path / "b.zip", folder=None)
    assert status.read(tmp_path).failed_at is None
    assert status.read(tmp_path).folders == [str(tmp_path)]


@pytest.mark.parametrize("content", ["", "{", "[]", '{"made_at": 3}', '{"made_at": "2026-01-01T00:00:00"}'])
def test_where_the_file_of_the_last_one_is_spoilt_nothing_is_known(content: str, tmp_path: Path) -> None:
    (tmp_path / status.FILE).write_text(content)
    assert status.read(tmp_path).made_at is None


# -------- told to whom it concerns


def doctor_lines(at: datetime) -> dict[str, str]:
    return {finding.words: finding.state.value for finding in doctor_machine.backups(at)}


def test_doctor_tells_when_the_last_one_is_old_failed_or_gone(settings: Settings, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path
    settings.BACKUP_DIR = tmp_path / "backups"
    assert doctor_lines(NOW)["none has been made yet"] == "look"
    made = tmp_path / "a.zip"
    made.touch()
    status.made(tmp_path, at=NOW, file=made, folder=None)
    assert doctor_lines(NOW)[f"the last one was made at 2026-11-30 12:00 UTC: {made}"] == "ok"
    assert doctor_lines(NOW + timedelta(hours=50))["the last one was made at 2026-11-30 12:00 UTC"] == "bad"
    made.unlink()
    assert doctor_lines(NOW)[f"the last one, {made}, is not there any more"] == "look"
    status.failed(tmp_path, at=NOW, why="No room.")
    assert doctor_lines(NOW)["none could be made at 2026-11-30 12:00 UTC: No room."] == "bad"


def test_doctor_says_that_a_second_disk_is_better(settings: Settings, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path
    settings.BACKUP_DIR = tmp_path / "backups"
    assert any("on the same disk" in words for words in doctor_lines(NOW))


@pytest.mark.parametrize("page", ["/settings/", "/exchange/"])
def test_owners_read_of_the_last_backup_and_of_a_failure(
    page: str, client: Client, owner: User, settings: Settings, tmp_path: Path
) -> None:
    settings.DATA_DIR = tmp_path
    client.force_login(owner)
    assert "No backup has been made yet." in client.get(page).content.decode()
    status.made(tmp_path, at=NOW - timedelta(days=9000), file=tmp_path / "a.zip", folder=None)
    assert "The last backup is old: it was made on" in client.get(page).content.decode()
    status.made(tmp_path, at=datetime.now(UTC), file=tmp_path / "a.zip", folder=None)
    assert "The last backup was made on" in client.get(page).content.decode()
    status.failed(tmp_path, at=NOW, why="The disk is <full>.")
    words = client.get(page).content.decode()
    assert "No backup could be made on" in words
    assert "The disk is &lt;full&gt;." in words

"""Backup and restore by the commands as people run them, on real SQLite and PostgreSQL."""

from __future__ import annotations

import json
import os
import shutil
import stat
import subprocess
import sys
import threading
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import psycopg
import pytest

from tests.mills.backup_mill import MANAGE, PROGRAM, BackupMill, children
from tests.services import servers
from tests.services.backup_kills import differing, kill_both
from tests.services.processes import CELERY, QUICK, ROOT, end, run, start, until
from wearlog.logbook.backups import archive, swapping


def on_sqlite(folder: Path) -> BackupMill:
    return BackupMill(folder / "data", f"sqlite:///{folder / 'data' / 'wearlog.sqlite3'}")


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data folder of a small mill with two photos, to copy."""
    mill = on_sqlite(tmp_path_factory.mktemp("small"))
    mill.fill("small")
    return mill.data


@pytest.fixture
def mill(small: Path, tmp_path: Path) -> BackupMill:
    shutil.copytree(small, tmp_path / "data")
    return on_sqlite(tmp_path)


@pytest.fixture(scope="module")
def mill_on_postgresql(
    postgres_server: str, postgres_template: str, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[BackupMill]:
    """The same in a database of its own, which the tests hand on as they leave it."""
    with psycopg.connect(f"{postgres_server}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE backups TEMPLATE {postgres_template}")
        mill = BackupMill(tmp_path_factory.mktemp("on-postgresql") / "data", f"{postgres_server}/backups")
        mill.fill("small")
        yield mill
        connection.execute("DROP DATABASE backups WITH (FORCE)")


def drill(mill: BackupMill, folder: Path) -> None:
    """Back up, change and lose things, restore: everything is as before, and what was there then is kept."""
    before = mill.holds()
    assert len([name for name in before if name.startswith("photos/")]) == 4
    said = mill.manage("backup", str(folder / "all.zip"), "--with-keys")
    assert "2 photos, read back and found whole" in said
    run([*PROGRAM, "photos", "1"], mill.environment)
    shutil.rmtree(next((mill.data / "photos").iterdir()))
    (mill.data / "secret_key").write_text("another" * 10)
    assert {"service_photo", "secret_key", "people_auditentry"} <= set(differing(mill.holds(), before))
    said = mill.manage("restore", str(folder / "all.zip"))
    assert differing(mill.holds(), before) == []
    (kept,) = mill.data.glob("before-restore-*")
    assert f"kept in {kept}" in said
    assert (kept / "secret_key").read_text() == "another" * 10
    assert (kept / "photos").is_dir()


def test_the_demo_mill_is_as_before_after_a_restore_on_sqlite(tmp_path: Path) -> None:
    mill = on_sqlite(tmp_path)
    mill.fill("demo")
    assert len(mill.holds()["runs_run"]) > 1000
    drill(mill, tmp_path)
    (kept,) = mill.data.glob("before-restore-*/wearlog.sqlite3")
    assert kept.stat().st_size > 1_000_000
    assert stat.S_IMODE((mill.data / "wearlog.sqlite3").stat().st_mode) == 0o600


def test_a_mill_is_as_before_after_a_restore_on_postgresql(
    mill_on_postgresql: BackupMill, tmp_path: Path
) -> None:
    mill = mill_on_postgresql
    drill(mill, tmp_path)
    said = mill.manage("restore", str(tmp_path / "all.zip"))
    assert "kept in the database's schema wearlog_before_" in said
    assert "Nothing" not in mill.manage("migrate", "--check")


def check_kills(mill: BackupMill, folder: Path, kills: int) -> None:
    found = kill_both(mill, folder, kills=kills, seed=6)
    assert found.third == []
    assert sum(found.backups.values()) + sum(found.restores.values()) == kills


def test_killed_in_their_midst_they_leave_the_old_state_or_the_new_one_on_sqlite(
    mill: BackupMill, tmp_path: Path
) -> None:
    check_kills(mill, tmp_path, 12)


def test_killed_in_their_midst_they_leave_the_old_state_or_the_new_one_on_postgresql(
    mill_on_postgresql: BackupMill, tmp_path: Path
) -> None:
    check_kills(mill_on_postgresql, tmp_path, 8)


def test_a_restore_that_was_killed_in_its_swap_is_finished_by_whatever_is_started_next(
    mill: BackupMill, tmp_path: Path
) -> None:
    mill.manage("backup", str(tmp_path / "a.zip"), "--with-keys")
    before = mill.holds()
    run([*PROGRAM, "photos", "1"], mill.environment)
    with children(mill, tmp_path / "log") as forks:
        _code, touches = forks.do(f"backup {tmp_path / 'b.zip'} 0")
        _code, touches = forks.do(f"restore {tmp_path / 'b.zip'} 0")
        for number in range(touches, 0, -1):  # from the end, until one is killed before its first rename
            forks.do(f"restore {tmp_path / 'b.zip'} 0")
            forks.do(f"restore {tmp_path / 'a.zip'} {number}")
            if (mill.data / swapping.JOURNAL).exists() and not (mill.data / "wearlog.sqlite3").exists():
                break
    assert not (mill.data / "wearlog.sqlite3").exists()
    mill.manage("check")
    assert differing(mill.holds(), before) == []
    assert not (mill.data / swapping.JOURNAL).exists()


def test_a_backup_is_of_one_moment_while_others_go_on_writing(mill: BackupMill, tmp_path: Path) -> None:
    """Each write adds one to both of two counters; a copy that mixed two moments would tell them apart."""
    import sqlite3

    database = mill.data / "wearlog.sqlite3"
    with sqlite3.connect(database) as made:
        made.execute("CREATE TABLE a (n INTEGER)")
        made.execute("CREATE TABLE b (n INTEGER)")
        made.execute("INSERT INTO a VALUES (0)")
        made.execute("INSERT INTO b VALUES (0)")
        made.execute("CREATE TABLE filler (x BLOB)")
        made.executemany("INSERT INTO filler VALUES (?)", [(os.urandom(4000),) for _ in range(3000)])
    over, writes = threading.Event(), [0]

    def write() -> None:
        connection = sqlite3.connect(database, timeout=20)
        while not over.is_set():
            with connection:
                connection.execute("UPDATE a SET n = n + 1")
                connection.execute("UPDATE b SET n = n + 1")
            writes[0] += 1
        connection.close()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        mill.manage("backup", str(tmp_path / "a.zip"))
    finally:
        over.set()
        writer.join()
    assert writes[0] > 0
    with zipfile.ZipFile(tmp_path / "a.zip") as opened:
        opened.extract(archive.SQLITE_MEMBER, tmp_path)
    with sqlite3.connect(tmp_path / archive.SQLITE_MEMBER) as copied:
        assert copied.execute("SELECT (SELECT n FROM a) - (SELECT n FROM b)").fetchone() == (0,)


def test_the_key_is_in_it_only_where_that_was_said_and_the_file_is_its_owners(
    mill: BackupMill, tmp_path: Path
) -> None:
    plain, with_key = tmp_path / "plain.zip", tmp_path / "key.zip"
    key = (mill.data / "secret_key").read_bytes()
    assert "The secret key is not in it" in mill.manage("backup", str(plain))
    assert "The secret key is in it" in mill.manage("backup", str(with_key), "--with-keys")
    assert archive.KEY_MEMBER not in zipfile.ZipFile(plain).namelist()
    with zipfile.ZipFile(with_key) as opened:
        assert opened.read(archive.KEY_MEMBER) == key
        stated = json.loads(opened.read(archive.MANIFEST))
    assert stated["keys"] is True
    assert stated["rows"]["service_photo"] == 2
    assert stated["database"] == "sqlite"
    assert "people.0001_initial" in stated["schema"]
    assert {stat.S_IMODE(path.stat().st_mode) for path in (plain, with_key)} == {0o600}


def test_a_name_that_is_taken_is_written_over_only_where_that_was_said(
    mill: BackupMill, tmp_path: Path
) -> None:
    target = tmp_path / "a.zip"
    target.write_text("mine")
    assert "--replace" in mill.refused("backup", str(target))
    assert target.read_text() == "mine"
    mill.manage("backup", str(target), "--replace")
    archive.check(target)
    assert "name a file in it" in mill.refused("backup", str(tmp_path))
    assert "is not there" in mill.refused("backup", str(tmp_path / "nowhere" / "a.zip"))
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_a_spoilt_backup_and_one_of_a_newer_version_are_refused_and_change_nothing(
    mill: BackupMill, tmp_path: Path
) -> None:
    import sqlite3

    target, before = tmp_path / "a.zip", mill.holds()
    mill.manage("backup", str(target))
    assert "is whole" in mill.manage("restore", str(target), "--check")
    bytes_ = bytearray(target.read_bytes())
    bytes_[5000:5064] = os.urandom(64)
    target.write_bytes(bytes_)
    assert "is no whole backup" in mill.refused("restore", str(target))
    with sqlite3.connect(mill.data / "wearlog.sqlite3") as connection:
        connection.execute("INSERT INTO django_migrations VALUES (9999, 'runs', '0999_later', '2030-01-01')")
    newer = tmp_path / "newer.zip"
    mill.manage("backup", str(newer))
    with sqlite3.connect(mill.data / "wearlog.sqlite3") as connection:
        connection.execute("DELETE FROM django_migrations WHERE id = 9999")
    refusal = mill.refused("restore", str(newer))
    assert "newer Wearlog" in refusal
    assert "runs.0999_later" in refusal
    assert differing(mill.holds(), before) == []
    assert list(mill.data.glob("before-restore-*")) == []


def test_a_damaged_database_is_not_backed_up_and_the_failure_is_told(mill: BackupMill) -> None:
    import sqlite3

    with sqlite3.connect(mill.data / "wearlog.sqlite3") as connection:
        connection.execute("PRAGMA journal_mode=DELETE")
        connection.execute("CREATE TABLE filler (x BLOB)")
        connection.executemany("INSERT INTO filler VALUES (?)", [(b"x" * 500,) for _ in range(500)])
    path = mill.data / "wearlog.sqlite3"
    bytes_ = bytearray(path.read_bytes())
    bytes_[-8192:-6000] = os.urandom(2192)
    path.write_bytes(bytes_)
    refusal = mill.refused("backup")
    assert "No backup was made." in refusal
    assert list((mill.data / "backups").glob("*.zip")) == []
    assert "No backup" not in json.loads((mill.data / "backups.json").read_text())["why"]
    assert json.loads((mill.data / "backups.json").read_text())["why"]


def test_a_database_that_is_past_reading_is_set_aside_and_the_backup_put_in_its_place(
    mill: BackupMill, tmp_path: Path
) -> None:
    before = mill.holds()
    mill.manage("backup", str(tmp_path / "a.zip"))
    for ending in ("", "-wal"):
        (mill.data / f"wearlog.sqlite3{ending}").write_bytes(b"gone" * 9999)
    mill.manage("restore", str(tmp_path / "a.zip"))
    assert differing(mill.holds(), before) == []
    (kept,) = mill.data.glob("before-restore-*")
    assert (kept / "wearlog.sqlite3").read_bytes() == b"gone" * 9999
    assert (mill.data / "wearlog.sqlite3").stat().st_ino != (kept / "wearlog.sqlite3").stat().st_ino


def test_what_the_administrator_restores_belongs_to_whom_the_data_belong(
    mill: BackupMill, tmp_path: Path
) -> None:
    """And a database outside of the data folder is swapped where it lies."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    shutil.move(mill.data / "wearlog.sqlite3", elsewhere / "log.sqlite3")
    mill = BackupMill(mill.data, f"sqlite:///{elsewhere / 'log.sqlite3'}")
    before = mill.holds()
    owner = 65534 if os.geteuid() == 0 else os.geteuid()
    for path in (mill.data, elsewhere):
        os.chown(path, owner, -1)
    mill.manage("backup", str(tmp_path / "a.zip"))
    mill.manage("restore", str(tmp_path / "a.zip"))
    assert differing(mill.holds(), before) == []
    (kept,) = elsewhere.glob("before-restore-*")
    assert (kept / "log.sqlite3").is_file()
    restored = [elsewhere / "log.sqlite3", kept, mill.data / "backups.json", *mill.data.glob("photos/**/*")]
    assert {path.stat().st_uid for path in restored} == {owner}


@pytest.fixture
def at_work(mill: BackupMill, tmp_path: Path) -> Iterator[Callable[[list[str]], None]]:
    """Starts a program on the mill's data, and ends it after the test."""
    begun: list[subprocess.Popen[bytes]] = []

    def begin(command: list[str]) -> None:
        begun.append(start(command, mill.environment, tmp_path / "log"))

    yield begin
    end(*begun)


@pytest.mark.parametrize("program", ["quickstart", "pages", "schedule", "other"])
def test_no_backup_is_restored_while_wearlog_is_at_work_on_the_data(
    program: str, mill: BackupMill, at_work: Callable[[list[str]], None], tmp_path: Path
) -> None:
    mill.manage("backup", str(tmp_path / "a.zip"))
    before = mill.holds()
    hold = "import time; print('on', flush=True); time.sleep(600)"
    commands = {
        "quickstart": [*MANAGE, "quickstart", "--no-demo", f"--port={servers.free_port()}"],
        "pages": [sys.executable, "-c", f"import wearlog.config.wsgi; {hold}"],
        "schedule": [*CELERY, "beat", "-l", "info"],
        "other": [
            sys.executable,
            "-c",
            f"import sqlite3; c = sqlite3.connect({str(mill.data / 'wearlog.sqlite3')!r}); "
            f"c.execute('SELECT count(*) FROM people_user').fetchall(); {hold}",
        ],
    }
    at_work(commands[program])
    words = {"quickstart": "Stop with Ctrl-C", "schedule": "beat: Starting"}.get(program, "on")
    assert until(lambda: words in (tmp_path / "log").read_text(), 60), (tmp_path / "log").read_text()
    refusal = mill.refused("restore", str(tmp_path / "a.zip"))
    assert "stop" in refusal
    if program in ("pages", "other"):  # the others write by themselves
        assert differing(mill.holds(), before) == []
    assert list(mill.data.glob("before-restore-*")) == []


def test_nothing_starts_while_a_backup_is_restored(mill: BackupMill) -> None:
    import fcntl

    with (mill.data / "at-work").open("a") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        assert "is being restored" in mill.refused("check")
    mill.manage("check")


def test_a_migration_comes_with_a_backup_of_what_was_before(mill: BackupMill, tmp_path: Path) -> None:
    before = mill.holds()
    said = mill.manage("migrate", "reminders", "0004")
    assert "Made a backup before the migration" in said
    (made,) = (mill.data / "backups").glob("*-before-migration.zip")
    mill.manage("restore", str(made))
    assert differing(mill.holds(), before) == []
    mill.manage("migrate")
    assert list((mill.data / "backups").glob("*-before-migration.zip")) == [made], "nothing waited"


def test_without_room_for_a_backup_nothing_is_migrated_unless_that_was_said(mill: BackupMill) -> None:
    (mill.data / "backups").write_text("no folder")
    before = mill.holds()
    refusal = mill.refused("migrate", "reminders", "0004")
    assert "manage.py migrate --no-backup" in refusal
    assert differing(mill.holds(), before) == []
    mill.manage("migrate", "reminders", "0004", "--no-backup")
    assert "django_migrations" in differing(mill.holds(), before)


def test_an_import_comes_with_a_backup_of_what_was_before(mill: BackupMill, tmp_path: Path) -> None:
    book = tmp_path / "book.zip"
    mill.manage("export_logbook", str(book))
    mill.manage("import_logbook", str(book), "--dry-run")
    assert not (mill.data / "backups").exists()
    mill.manage("import_logbook", str(book))
    assert len(list((mill.data / "backups").glob("*-before-import.zip"))) == 1
    shutil.rmtree(mill.data / "backups")
    (mill.data / "backups").write_text("no folder")
    assert "no backup could be made" in mill.refused("import_logbook", str(book))


def refused_book(folder: Path) -> Path:
    folder.mkdir()
    (folder / "presses.csv").write_text("press,retired_on\r\nP9,sometimes\r\n")
    return folder


def test_a_logbook_that_is_refused_by_command_leaves_no_backup(mill: BackupMill, tmp_path: Path) -> None:
    assert "line 2" in mill.refused("import_logbook", str(refused_book(tmp_path / "book")))
    assert not (mill.data / "backups").exists()


def test_a_logbook_that_is_refused_by_page_leaves_no_backup(mill: BackupMill, tmp_path: Path) -> None:
    def carry_out(book: Path) -> str:
        (mill.data / "imports").mkdir(exist_ok=True)
        shutil.make_archive(str(mill.data / "imports" / "some"), "zip", book)
        return run([sys.executable, "-c", ONE_IMPORT], mill.environment).split()[-1]

    assert carry_out(refused_book(tmp_path / "book")) == "refused"
    assert not (mill.data / "backups").exists()
    mill.manage("export_logbook", str(tmp_path / "good"))
    assert carry_out(tmp_path / "good") == "done"
    assert len(list((mill.data / "backups").glob("*-before-import.zip"))) == 1


ONE_IMPORT = """
import django; django.setup()
from django.utils import timezone
from wearlog.logbook.jobs import running
from wearlog.logbook.models import ImportJob
from wearlog.people.models import User
owner, _made = User.objects.get_or_create(username="of-the-import", role="owner")
job = ImportJob.objects.create(
    file="some", name="old.zip", only_check=False, by=owner, language="en", asked_at=timezone.now()
)
running.carry_out(job_id=job.pk, clock=timezone.now)
job.refresh_from_db()
print(job.said, job.groups, job.state)
"""


def test_a_second_disk_that_is_not_mounted_is_told_and_left_alone(mill: BackupMill, tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    on_disk = mill.environment | {"BACKUP_DIR": str(disk)}
    run([*MANAGE, "backup"], on_disk)
    assert len(list(disk.glob("wearlog-*-by-hand.zip"))) == 1
    os.rename(disk, tmp_path / "unplugged")
    disk.mkdir()
    assert "mount its disk" in mill.refused("backup", BACKUP_DIR=str(disk))
    assert list(disk.iterdir()) == []
    doctor = subprocess.run(
        [*MANAGE, "doctor"], cwd=ROOT, env=on_disk, capture_output=True, text=True, check=False
    ).stdout
    assert "bad   backups" in doctor
    run([*MANAGE, "backup", "--new-folder"], on_disk)
    assert len(list(disk.glob("wearlog-*-by-hand.zip"))) == 1


def made_by_the_schedule(mill: BackupMill) -> bool:
    return any((mill.data / "backups").glob("wearlog-*-scheduled.zip"))


def test_the_one_process_makes_the_days_backup_by_itself(
    mill: BackupMill, at_work: Callable[[list[str]], None]
) -> None:
    at_work([*MANAGE, "quickstart", "--no-demo", f"--port={servers.free_port()}"])
    assert until(lambda: made_by_the_schedule(mill), 60)


def test_a_worker_makes_the_days_backup_when_the_schedule_calls(
    redis_url: str, mill: BackupMill, tmp_path: Path
) -> None:
    environment = mill.environment | {"REDIS_URL": redis_url, "DJANGO_SETTINGS_MODULE": QUICK}
    processes = [
        start([*CELERY, "worker", "-l", "warning", "-P", "solo"], environment, tmp_path / "worker.log"),
        start([*CELERY, "beat", "-l", "warning"], environment, tmp_path / "beat.log"),
    ]
    try:
        assert until(lambda: made_by_the_schedule(mill), 90), (tmp_path / "worker.log").read_text()[-2000:]
    finally:
        end(*processes)

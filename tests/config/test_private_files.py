"""What is newly made may be read by the user of the program alone, whatever umask the machine has."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from wearlog.config import private_files

ROOT = Path(__file__).resolve().parents[2]
ASK = """
import os, sqlite3, sys
os.umask(int(sys.argv[1], 8))
import django
django.setup()
from pathlib import Path
from django.conf import settings
from django.db import connection
from wearlog.config import embedded
from wearlog.service import photos
from wearlog.logbook.backups import holding
holding.hold_shared(Path(settings.DATA_DIR))
with connection.cursor() as cursor:
    cursor.execute("CREATE TABLE wear (mm REAL)")
    cursor.execute("INSERT INTO wear VALUES (0.2)")
    photos.make_folder(photos.path_of("0a0b").parent)
    photos.write_through(photos.path_of("0a0b"), b"a photo")
    home = Path(settings.DATA_DIR)
    with embedded.sole_use(home), holding.one_backup(home, patience_s=0):
        for path in [home, *sorted(home.rglob("*"))]:
            print(oct(path.stat().st_mode & 0o777), path.relative_to(home))
"""


@pytest.mark.parametrize(("umask", "key"), [("000", ""), ("022", "kilo-lima-mike-november-oscar-papa-42")])
def test_new_files_are_their_users_alone_whatever_the_umask(umask: str, key: str, tmp_path: Path) -> None:
    kept = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "REDIS_URL")}
    place = {"DJANGO_SETTINGS_MODULE": "wearlog.config.settings", "DATA_DIR": str(tmp_path / "new")}
    done = subprocess.run(
        [sys.executable, "-c", ASK, umask], cwd=ROOT, env=kept | place | {"SECRET_KEY": key},
        capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    found = dict(reversed(line.split(" ", 1)) for line in done.stdout.splitlines())
    own = {} if key else {"secret_key": "0o600"}
    assert found == own | {
        ".": "0o700",
        "at-work": "0o600",
        "backup-under-way": "0o600",
        "in-use": "0o600",
        "photos": "0o700",
        "photos/0a": "0o700",
        "photos/0a/0a0b.jpg": "0o600",
        "wearlog.sqlite3": "0o600",
        "wearlog.sqlite3-shm": "0o600",
        "wearlog.sqlite3-wal": "0o600",
    }


def test_a_folder_that_was_there_keeps_the_rights_that_somebody_gave_it(tmp_path: Path) -> None:
    (tmp_path / "shared").mkdir()
    (tmp_path / "shared").chmod(0o750)
    private_files.make_folder(tmp_path / "shared")
    assert stat.S_IMODE((tmp_path / "shared").stat().st_mode) == 0o750
    (tmp_path / "file").write_text("")
    with pytest.raises(FileExistsError):
        private_files.make_folder(tmp_path / "file")

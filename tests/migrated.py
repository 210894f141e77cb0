"""A database with every migration applied: made once for a whole session of tests, and copied from then on.

`conftest.py` names the session's folder in the environment, so that workers and the programs that tests start
find it there. Programs that are run by hand have no such folder and migrate as the site does.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
FOLDER = "WEARLOG_MIGRATED"


def begin_session(config: pytest.Config) -> None:
    """Names a folder for this session; workers, and tests that run tests of their own, use their parent's."""
    if FOLDER not in os.environ:
        folder = os.environ[FOLDER] = tempfile.mkdtemp(prefix="wearlog-migrated-")

        def remove() -> None:
            del os.environ[FOLDER]
            shutil.rmtree(folder, ignore_errors=True)

        config.add_cleanup(remove)


def lay(path: Path) -> None:
    """Put an empty, migrated SQLite database there. Outside of a session nothing is put there."""
    if FOLDER in os.environ:
        path.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(template(Path(os.environ[FOLDER])), path)


def template(folder: Path) -> Path:
    """The session's SQLite database; whoever needs it first makes it."""
    made = folder / "made" / "wearlog.sqlite3"
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not made.exists():
            making = folder / "making"
            apply_migrations(f"sqlite:///{making / 'wearlog.sqlite3'}", making)
            with closing(sqlite3.connect(making / "wearlog.sqlite3")) as connection:
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # the one file holds everything
            making.rename(made.parent)
    return made


def make(path: Path, data: Path) -> None:
    """The same, and outside of a session by the site's own command."""
    if FOLDER in os.environ:
        lay(path)
    else:
        apply_migrations(f"sqlite:///{path}", data)


def apply_migrations(url: str, data: Path) -> None:
    """Bring the database at that URL up to date by the site's own command."""
    left_out = ("PYTEST_", "SECRET_KEY", "DEBUG", "HTTPS", "ALLOWED_HOSTS", "REDIS_URL")
    environment = {name: value for name, value in os.environ.items() if not name.startswith(left_out)}
    environment |= {
        "DJANGO_SETTINGS_MODULE": "wearlog.config.settings",
        "DATABASE_URL": url,
        "DATA_DIR": str(data),
    }
    done = subprocess.run(
        [sys.executable, "manage.py", "migrate", "-v0"],
        cwd=ROOT, env=environment, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]


def migrate(**options: object) -> None:
    """For programs of the tests: bring this process's own database up to date, by a copy where that will do.

    In a session a SQLite file that is not there yet is copied, and a database that holds tables has got them
    from a copy; everything else is migrated."""
    from django.core.management import call_command
    from django.db import connection

    if FOLDER in os.environ:
        if connection.vendor == "sqlite" and not Path(connection.settings_dict["NAME"]).exists():
            lay(Path(connection.settings_dict["NAME"]))
        if "django_migrations" in connection.introspection.table_names():
            return
    call_command("migrate", verbosity=0, **options)

"""The tests that use a database, run once more on a real PostgreSQL."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.requirements import ON_POSTGRESQL
from tests.services import servers

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = (
    "people",
    "equipment",
    "runs",
    "service",
    "history",
    "lockout",
    "forecasts",
    "words",
    "logbook",
    "compare",
    "reminders",
    "web",
    "journeys",
)


def test_every_folder_that_uses_a_database_is_run_again() -> None:
    """A new folder of tests must be named here or be one that stores nothing."""
    without = {
        "calc",
        "published",
        "benchmarks",
        "architecture",
        "services",
        "browser",
        "config",
        "load",
        "mills",
        "soak",
    }
    there = {path.name for path in (ROOT / "tests").iterdir() if (path / "__init__.py").exists()}
    assert there - without == set(FOLDERS)


AT_ONCE = 12
"""In so many parts: few, since each begins with a process of its own, but enough for several workers to
share."""


def parts() -> dict[str, list[str]]:
    """Every test file of these folders once, in parts of about one length."""
    found = [path for folder in FOLDERS for path in (ROOT / "tests" / folder).rglob("test_*.py")]
    longest_first = sorted(found, key=lambda path: (-path.stat().st_size, path))
    files = [path.relative_to(ROOT).as_posix() for path in longest_first]
    return {f"part {number + 1} of {AT_ONCE}": files[number::AT_ONCE] for number in range(AT_ONCE)}


PARTS = parts()


@pytest.mark.parametrize("part", PARTS)
def test_passes_on_postgresql(part: str, postgres_url: str, tmp_path: Path) -> None:
    """What needs no database runs on SQLite alone (`conftest.py`)."""
    environment = os.environ | {
        "DATABASE_URL": postgres_url,
        "DATA_DIR": str(tmp_path),
        "PATH": f"{servers.postgres_programs()}{os.pathsep}{os.environ['PATH']}",  # its pg_dump, too
        ON_POSTGRESQL: postgres_url.rpartition("/")[2],
    }
    for name in [name for name in environment if name.startswith("PYTEST_")]:
        del environment[name]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *PARTS[part]],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]
    assert " passed" in done.stdout

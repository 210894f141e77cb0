"""The two commands as a person runs them: what they print, and how they end."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from tests import migrated
from tests.logbook.exchange.books import content, small_book, write_book

ROOT = Path(__file__).resolve().parents[3]


def run(data: Path, *words: object) -> subprocess.CompletedProcess[str]:
    kept = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    return subprocess.run(
        [sys.executable, ROOT / "manage.py", *map(str, words)],
        env=kept | {"DATA_DIR": str(data)},
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with an empty database, to be copied."""
    folder = tmp_path_factory.mktemp("empty") / "data"
    migrated.lay(folder / "wearlog.sqlite3")
    return folder


def test_a_mill_moves_from_one_installation_to_another(empty: Path, tmp_path: Path) -> None:
    book = write_book(tmp_path / "book", small_book())
    for data in ("one", "two"):
        shutil.copytree(empty, tmp_path / data)

    taken = run(tmp_path / "one", "import_logbook", book)
    given = run(tmp_path / "one", "export_logbook", tmp_path / "moved.zip")
    taken_again = run(tmp_path / "two", "import_logbook", tmp_path / "moved.zip")
    given_again = run(tmp_path / "two", "export_logbook", tmp_path / "out")

    for each in (taken, given, taken_again, given_again):
        assert each.returncode == 0, each.stderr
    assert taken.stdout == taken_again.stdout
    assert taken.stderr == ""
    assert content(book) == content(tmp_path / "out")


def test_a_database_without_tables_is_told_in_one_sentence(tmp_path: Path) -> None:
    book = write_book(tmp_path / "book", small_book())

    for words in (("import_logbook", book), ("export_logbook", tmp_path / "out")):
        told = run(tmp_path / "data", *words)
        assert told.returncode == 1
        assert "run manage.py migrate first" in told.stderr
        assert "Traceback" not in told.stderr
    assert not (tmp_path / "out").exists()


def test_a_bad_row_ends_the_command_with_1_and_the_list_on_stderr(empty: Path, tmp_path: Path) -> None:
    spoilt = small_book()
    spoilt["runs"][0]["seed_kg"] = "180,5"

    told = run(empty, "import_logbook", write_book(tmp_path / "book", spoilt), "--dry-run")

    assert told.returncode == 1
    assert told.stdout == ""
    assert 'runs.csv, line 2, column seed_kg, value "180,5": write a plain number' in told.stderr


def test_a_dry_run_and_an_export_end_while_somebody_else_holds_the_write_lock(
    empty: Path, tmp_path: Path
) -> None:
    data = tmp_path / "data"
    shutil.copytree(empty, data)
    book = write_book(tmp_path / "book", small_book())
    with closing(sqlite3.connect(data / "wearlog.sqlite3", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        tried = run(data, "import_logbook", book, "--dry-run")
        given = run(data, "export_logbook", tmp_path / "out")

    assert tried.stdout.startswith("Nothing is stored on a dry run. It would store 33 new rows")
    assert (tried.returncode, given.returncode) == (0, 0), tried.stderr + given.stderr

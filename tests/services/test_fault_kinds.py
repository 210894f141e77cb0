"""Errors of real databases, and what people are told about them."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import psycopg
import pytest

from tests.services.servers import free_port
from wearlog.web.site.faults.kinds import kind_of

pytestmark = pytest.mark.django_db  # what lacks a table is told by the migrations that wait


def small_file(folder: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(folder / "small.sqlite3", timeout=0)
    connection.execute("CREATE TABLE IF NOT EXISTS words (word TEXT)")
    connection.commit()
    return connection


def full(folder: Path) -> None:
    connection = small_file(folder)
    connection.execute("PRAGMA max_page_count = 2")
    connection.execute("INSERT INTO words VALUES (?)", ["w" * 20_000])


def read_only(folder: Path) -> None:
    connection = small_file(folder)
    connection.execute("PRAGMA query_only = 1")
    connection.execute("INSERT INTO words VALUES ('w')")


def no_database(folder: Path) -> None:
    (folder / "notes.txt").write_text("a shopping list, and no database at all" * 50)
    sqlite3.connect(folder / "notes.txt").execute("SELECT * FROM words")


def spoilt(folder: Path) -> None:
    small_file(folder).close()
    with (folder / "small.sqlite3").open("r+b") as stream:
        stream.seek(4096)  # the page of the table
        stream.write(b"\xa5" * 64)
    sqlite3.connect(folder / "small.sqlite3").execute("SELECT * FROM words").fetchall()


def no_folder(folder: Path) -> None:
    sqlite3.connect(folder / "nowhere" / "mill.sqlite3").execute("SELECT 1")


def locked(folder: Path) -> None:
    writer = small_file(folder)
    writer.execute("BEGIN IMMEDIATE")
    small_file_of_another = sqlite3.connect(folder / "small.sqlite3", timeout=0)
    small_file_of_another.execute("BEGIN IMMEDIATE")


def lacks_a_table(folder: Path) -> None:
    small_file(folder).execute("SELECT * FROM nothing")


@pytest.mark.parametrize(
    ("breaks", "kind"),
    [
        (full, "disk_full"),
        (read_only, "read_only"),
        (no_database, "database_damaged"),
        (spoilt, "database_damaged"),
        (no_folder, "database_away"),
        (locked, "database_busy"),
        (lacks_a_table, "broken"),  # no migration waits: a slip of the program
    ],
)
def test_of_sqlite(breaks: Callable[[Path], None], kind: str, tmp_path: Path) -> None:
    with pytest.raises(sqlite3.Error) as caught:
        breaks(tmp_path)
    assert kind_of(caught.value).name == kind


def kind_of_fault(url: str, *statements: str) -> str:
    def run() -> None:
        with psycopg.connect(url, autocommit=True, connect_timeout=5) as connection:
            for statement in statements:
                connection.execute(statement)

    with pytest.raises(psycopg.Error) as caught:
        run()
    return kind_of(caught.value).name


def test_of_postgresql(postgres_url: str) -> None:
    assert kind_of_fault(f"postgres://mill@127.0.0.1:{free_port()}/mill") == "database_away"
    assert kind_of_fault(f"{postgres_url}_that_is_not_there") == "database_away"
    assert kind_of_fault(postgres_url, "SELECT pg_terminate_backend(pg_backend_pid())") == "database_lost"
    writes = "CREATE TABLE words (word text)"
    assert kind_of_fault(postgres_url, "SET default_transaction_read_only = on", writes) == "read_only"
    assert kind_of_fault(postgres_url, "SELECT * FROM nothing") == "broken"
    raises = "DO $$ BEGIN RAISE EXCEPTION 'of the server' USING ERRCODE = '{}'; END $$"
    for state, kind in [("53100", "disk_full"), ("XX001", "database_damaged"), ("40P01", "database_busy")]:
        assert kind_of_fault(postgres_url, raises.format(state)) == kind
    blocked = psycopg.connect(postgres_url)
    blocked.execute(writes)
    blocked.commit()
    blocked.execute("LOCK words")
    assert kind_of_fault(postgres_url, "SET lock_timeout = 100", "SELECT * FROM words") == "database_busy"
    blocked.close()


@pytest.mark.parametrize(
    ("number", "kind"), [(28, "disk_full"), (122, "disk_full"), (30, "read_only"), (2, "broken")]
)
def test_of_the_system(number: int, kind: str) -> None:
    """ENOSPC, EDQUOT, EROFS and ENOENT on Linux."""
    assert kind_of(OSError(number, "of the system")).name == kind


def test_of_what_an_error_came_from() -> None:
    error = RuntimeError("the photo was not kept")
    error.__cause__ = OSError(28, "of the system")
    assert kind_of(error).name == "disk_full"

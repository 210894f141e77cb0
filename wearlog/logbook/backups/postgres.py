"""Dumping and restoring a PostgreSQL database by PostgreSQL's own programs.

A restore loads the dump in one transaction into a schema next to the live one, where it is checked and
migrated; `swap` then exchanges the two by renaming, in another transaction. `docs/decisions/backup.md` says
why.
"""

from __future__ import annotations

import os
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import psycopg
from psycopg import errors, sql

from wearlog.logbook.backups import postgres_tools
from wearlog.logbook.backups.refusals import BackupRefused, InUse

STAGED, MEANWHILE = "wearlog_restoring", "wearlog_meanwhile"
PATIENCE = "10s"
LEAVING_TAKES_S = 3.0
FIRST_WITH_TRANSACTION_TIMEOUT = 17


@dataclass(frozen=True)
class ExportedSnapshot:
    """A snapshot of the database, with the id by which pg_dump reads the same snapshot."""

    snapshot: str
    server: int
    schema_name: str
    rows: dict[str, int]
    schema: list[str]
    photos: list[str]


@contextmanager
def connected(database: Mapping[str, object]) -> Iterator[psycopg.Connection]:
    try:
        with psycopg.connect(postgres_tools.conninfo(database, secret=True), autocommit=True) as connection:
            yield connection
    except psycopg.Error as error:
        raise BackupRefused(f"The database can't be used: {str(error).strip()}") from error


def _major(connection: psycopg.Connection) -> int:
    return connection.info.server_version // 10_000


def live_schema(connection: psycopg.Connection) -> str:
    return str(_one(connection, sql.SQL("SELECT current_schema()")))


@contextmanager
def export_snapshot(database: Mapping[str, object]) -> Iterator[ExportedSnapshot]:
    """Hold a snapshot of the database while others go on writing."""
    with connected(database) as connection, connection.transaction():
        connection.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        name = live_schema(connection)
        yield ExportedSnapshot(
            snapshot=str(_one(connection, sql.SQL("SELECT pg_export_snapshot()"))),
            server=_major(connection),
            schema_name=name,
            rows=rows(connection, name),
            schema=schema(connection, name),
            photos=photo_names(connection, name),
        )


@contextmanager
def dumped(database: Mapping[str, object], now: ExportedSnapshot) -> Iterator[IO[bytes]]:
    """The output of pg_dump in its custom format, as a stream. Raises BackupRefused where pg_dump fails."""
    tools = postgres_tools.matching_tools(now.server)
    command = [tools["pg_dump"], "--format=custom", "--no-owner", "--no-privileges", "--no-password"]
    command += [f'--schema="{now.schema_name}"', f"--snapshot={now.snapshot}", "--lock-wait-timeout=60s"]
    command += [f"--dbname={postgres_tools.conninfo(database, secret=False)}"]
    with _running(command, database, stdout=subprocess.PIPE) as (process, told):
        assert process.stdout
        yield process.stdout
        if process.wait():
            raise BackupRefused(f"pg_dump could not write the database: {told()}")


def rows(connection: psycopg.Connection, schema_name: str) -> dict[str, int]:
    """How many rows each table of the schema has."""
    tables = connection.execute(
        "SELECT table_name FROM information_schema.tables "
        "WHERE table_schema = %s AND table_type = 'BASE TABLE' ORDER BY 1",
        [schema_name],
    ).fetchall()
    counting = sql.SQL("SELECT count(*) FROM {}")
    return {
        name: _count(connection, counting.format(sql.Identifier(schema_name, name))) for (name,) in tables
    }


def schema(connection: psycopg.Connection, schema_name: str) -> list[str]:
    """The migrations that were applied, as `app.name`."""
    requested = sql.SQL("SELECT app, name FROM {} ORDER BY app, name")
    found = connection.execute(requested.format(sql.Identifier(schema_name, "django_migrations")))
    return [f"{app}.{name}" for app, name in found]


def photo_names(connection: psycopg.Connection, schema_name: str) -> list[str]:
    there = connection.execute("SELECT to_regclass(%s)", [f'"{schema_name}".service_photo']).fetchone()
    if there is None or there[0] is None:
        return []
    requested = sql.SQL("SELECT name FROM {} ORDER BY name")
    found = connection.execute(requested.format(sql.Identifier(schema_name, "service_photo")))
    return [str(name) for (name,) in found]


def require_alone(connection: psycopg.Connection) -> None:
    """Raise InUse where others stay connected to this database; connections that are closing are waited
    for."""
    requested = sql.SQL(
        "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
        "AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
    )
    end = time.monotonic() + LEAVING_TAKES_S
    while others := _count(connection, requested):
        if time.monotonic() > end:
            raise InUse(
                f"{others} other programs are connected to the database: stop Wearlog's pages, workers and "
                "schedule on every machine, and try again."
            )
        time.sleep(0.1)


def load(database: Mapping[str, object], dump: Path, schema_name: str) -> None:
    """Load a dump of the live schema into the schema STAGED, all of it or nothing.

    A dump names its schema throughout, so within the transaction the live schema is renamed, which nobody
    sees from outside. psql gets the COMMIT only once pg_restore has succeeded.
    """
    with connected(database) as connection:
        if live_schema(connection) != schema_name:
            raise BackupRefused(
                f"The backup is of the schema {schema_name!r}, this database uses another one "
                f"({live_schema(connection)!r}): restore it into a database with the same search_path."
            )
        require_alone(connection)
        server = _major(connection)
    tools = postgres_tools.matching_tools(server)
    reader = [tools["pg_restore"], "--no-owner", "--no-privileges", "--file=-"]
    reader += [f"--schema={schema_name}", str(dump)]
    writer = [tools["psql"], "--no-psqlrc", "--quiet", "--no-password", "--set=ON_ERROR_STOP=1"]
    writer += [f"--output={os.devnull}", f"--dbname={postgres_tools.conninfo(database, secret=False)}"]
    writer += ["--file=-"]
    with (
        _running(writer, database, stdin=subprocess.PIPE) as (into, into_told),
        _running(reader, database, stdout=subprocess.PIPE) as (out, out_told),
    ):
        assert into.stdin
        assert out.stdout
        broken = False
        try:
            into.stdin.write(_before(schema_name).encode())
            _pump(out.stdout, into.stdin, server)
            if out.wait() == 0:
                into.stdin.write(_after(schema_name).encode())
            into.stdin.close()
        except OSError:
            broken = True  # psql ended early; its output says why
            out.kill()
        if into.wait() or broken:
            raise BackupRefused(f"The database did not take the backup: {into_told()}")
        if out.wait():
            raise BackupRefused(f"pg_restore can't read the backup: {out_told()}")


def _before(live: str) -> str:
    return (
        f"BEGIN;\nSET LOCAL lock_timeout = '{PATIENCE}';\nDROP SCHEMA IF EXISTS {STAGED} CASCADE;\n"
        f"CREATE SCHEMA {MEANWHILE};\n{moving(live, MEANWHILE)}"
    )


def _after(live: str) -> str:
    return (
        f"\nCREATE SCHEMA {STAGED};\n{moving(live, STAGED)}{moving(MEANWHILE, live)}"
        f"DROP SCHEMA {MEANWHILE};\nCOMMIT;\n"
    )


def moving(source: str, target: str) -> str:
    """SQL that moves every table, view, sequence and function of one schema to another, except those of
    extensions. It needs only ownership of them and the right to create schemas."""
    here, there = (name.replace("'", "''") for name in (source, target))
    return f"""DO $moving$ DECLARE one record; BEGIN
FOR one IN SELECT c.relname AS name, c.relkind AS kind FROM pg_catalog.pg_class c
  JOIN pg_catalog.pg_namespace n ON n.oid = c.relnamespace WHERE n.nspname = '{here}'
  AND c.relkind IN ('r', 'p', 'v', 'm', 'S') AND NOT EXISTS (SELECT 1 FROM pg_catalog.pg_depend d
    WHERE d.classid = 'pg_catalog.pg_class'::pg_catalog.regclass AND d.objid = c.oid
    AND (d.deptype = 'e' OR (c.relkind = 'S' AND d.deptype IN ('a', 'i')))) LOOP
  EXECUTE pg_catalog.format('ALTER %s %I.%I SET SCHEMA %I', CASE one.kind WHEN 'v' THEN 'VIEW'
    WHEN 'm' THEN 'MATERIALIZED VIEW' WHEN 'S' THEN 'SEQUENCE' ELSE 'TABLE' END,
    '{here}', one.name, '{there}'); END LOOP;
FOR one IN SELECT p.oid::pg_catalog.regprocedure AS name FROM pg_catalog.pg_proc p
  JOIN pg_catalog.pg_namespace n ON n.oid = p.pronamespace WHERE n.nspname = '{here}'
  AND NOT EXISTS (SELECT 1 FROM pg_catalog.pg_depend d WHERE d.objid = p.oid AND d.deptype = 'e') LOOP
  EXECUTE pg_catalog.format('ALTER ROUTINE %s SET SCHEMA %I', one.name, '{there}'); END LOOP;
END $moving$;
"""  # noqa: S608  # names of schemas, quoted above


def swap(database: Mapping[str, object], *, live: str, aside: str, new: str) -> None:
    """Make the schema `new` the live one and rename the live one to `aside`, in one transaction. Idempotent.
    Raises InUse where others hold locks on the tables."""
    with connected(database) as connection, connection.transaction():
        if _one(connection, sql.SQL("SELECT to_regnamespace({})").format(sql.Literal(new))) is None:
            return
        connection.execute(f"SET LOCAL lock_timeout = '{PATIENCE}'")
        connection.execute(sql.SQL("CREATE SCHEMA IF NOT EXISTS {}").format(sql.Identifier(live)))
        connection.execute(sql.SQL("CREATE SCHEMA {}").format(sql.Identifier(aside)))
        try:
            connection.execute(moving(live, aside).encode())
            connection.execute(moving(new, live).encode())
        except errors.LockNotAvailable as error:
            raise InUse("Other programs hold the database's tables: stop them, and try again.") from error
        connection.execute(sql.SQL("DROP SCHEMA {}").format(sql.Identifier(new)))


def drop_staged(database: Mapping[str, object]) -> None:
    with connected(database) as connection:
        connection.execute(sql.SQL("DROP SCHEMA IF EXISTS {} CASCADE").format(sql.Identifier(STAGED)))


def _pump(source: IO[bytes], target: IO[bytes], server: int) -> None:
    """Copy pg_restore's output to psql, without a setting of newer versions that older servers refuse."""
    head = source.read(1 << 16)
    if server < FIRST_WITH_TRANSACTION_TIMEOUT:
        head = head.replace(b"\nSET transaction_timeout = 0;\n", b"\n", 1)
    while head:
        target.write(head)
        head = source.read(1 << 20)


@contextmanager
def _running(
    command: list[str],
    database: Mapping[str, object],
    *,
    stdin: int | None = None,
    stdout: int | None = None,
) -> Iterator[tuple[subprocess.Popen[bytes], Callable[[], str]]]:
    """Run a program for the duration of the block; gives the process and a function that returns its last
    error output."""
    with tempfile.TemporaryFile() as words:

        def told() -> str:
            words.seek(0)
            lines = words.read().decode(errors="replace").strip().splitlines()
            return " ".join(lines[:3]) or "it said nothing"

        try:
            process = subprocess.Popen(  # noqa: S603  # programs of PostgreSQL
                command,
                stdin=stdin,
                stdout=stdout,
                stderr=words,
                env=postgres_tools.environment_of(database),
            )
        except OSError as error:
            raise BackupRefused(f"{command[0]} can't be run ({error.strerror}).") from error
        try:
            yield process, told
        finally:
            if process.poll() is None:
                process.kill()
            process.wait()
            for stream in (process.stdin, process.stdout):
                with suppress(OSError):
                    if stream:
                        stream.close()


def _one(connection: psycopg.Connection, statement: sql.SQL | sql.Composed) -> object:
    row = connection.execute(statement).fetchone()
    return row[0] if row else None


def _count(connection: psycopg.Connection, statement: sql.SQL | sql.Composed) -> int:
    found = _one(connection, statement)
    assert isinstance(found, int)
    return found

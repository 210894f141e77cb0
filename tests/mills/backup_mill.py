"""A mill with photos and a key, everything that it holds as values, and children that die while they back up.

Run as a program it reads one order a line, forks a child for it and prints how the child ended:

    backup FILE N       manage.py backup FILE --with-keys --replace
    restore FILE N      manage.py restore FILE
    start               what the settings do first at each start

With N above nought the child is killed (SIGKILL) just before its Nth touch of a file, folder, database or
program; with nought it is not, and prints how many there were.
"""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import sys
import traceback
from collections.abc import Iterator
from contextlib import closing, contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path
from typing import IO, Any

from tests.services.processes import ROOT, run

PROGRAM = [sys.executable, "-m", "tests.mills.backup_mill"]
MANAGE = [sys.executable, "manage.py"]
TOUCHES = {
    "open", "os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.chmod", "os.listdir", "os.scandir",
    "fcntl.flock", "sqlite3.connect", "subprocess.Popen", "shutil.rmtree", "shutil.copyfile",
}  # fmt: skip


PROMISES = """
SELECT conname, CASE contype WHEN 'c' THEN '' ELSE pg_get_constraintdef(c.oid) END
FROM pg_constraint c JOIN pg_namespace n ON n.oid = connamespace WHERE nspname = 'public'
UNION ALL SELECT tgname, tgrelid::regclass::text || coalesce(obj_description(t.oid), '')
FROM pg_trigger t JOIN pg_class c ON c.oid = tgrelid JOIN pg_namespace n ON n.oid = relnamespace
WHERE nspname = 'public' AND NOT tgisinternal
UNION ALL SELECT indexname, tablename FROM pg_indexes WHERE schemaname = 'public'
UNION ALL SELECT sequencename, last_value::text FROM pg_sequences WHERE schemaname = 'public'
"""
"""Of PostgreSQL, which words conditions anew when it reads them; of those the names alone are compared."""


@dataclass(frozen=True)
class BackupMill:
    """A data folder and a database with the settings that lead to them."""

    data: Path
    url: str

    @property
    def environment(self) -> dict[str, str]:
        from tests.services.servers import postgres_programs

        left = {"SECRET_KEY", "BACKUP_DIR", "BACKUP_KEEP", "REDIS_URL", "DEBUG"}
        inherited = {
            name: value
            for name, value in os.environ.items()
            if name not in left and not name.startswith("PYTEST_")
        }
        programs = postgres_programs() if self.url.startswith("postgres") else None
        path = f"{programs}{os.pathsep}" if programs else ""
        return inherited | {
            "DJANGO_SETTINGS_MODULE": "wearlog.config.settings",
            "DATABASE_URL": self.url,
            "DATA_DIR": str(self.data),
            "PYTHONPATH": str(ROOT),
            "PATH": path + os.environ["PATH"],
        }

    def manage(self, *words: str) -> str:
        return run([*MANAGE, *words], self.environment)

    def refused(self, *words: str, **more: str) -> str:
        """What a command said that did not do it."""
        done = subprocess.run(
            [*MANAGE, *words], cwd=ROOT, env=self.environment | more, capture_output=True, text=True
        )
        assert done.returncode != 0, done.stdout
        assert "Traceback" not in done.stderr, done.stderr
        return done.stderr

    def fill(self, how: str) -> None:
        run([*PROGRAM, how], self.environment)

    def holds(self) -> dict[str, Any]:
        """Every row of every table, every photo and key byte by byte."""
        found: dict[str, Any] = dict(self._tables())
        for path in sorted([*self.data.glob("photos/*/*"), *self.data.glob("secret_key")]):
            found[str(path.relative_to(self.data))] = hashlib.sha256(path.read_bytes()).hexdigest()
        return found

    def _tables(self) -> Iterator[tuple[str, list[str]]]:
        if self.url.startswith("sqlite"):
            import sqlite3

            with closing(sqlite3.connect(self.url.removeprefix("sqlite:///"))) as connection:
                named = connection.execute(
                    "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
                ).fetchall()
                for (name,) in sorted(named):
                    yield name, sorted(map(repr, connection.execute(f'SELECT * FROM "{name}"')))
                made = connection.execute("SELECT type, name, sql FROM sqlite_master ORDER BY 1, 2")
                yield "what the database promises", sorted(map(repr, made))
            return
        import psycopg

        with psycopg.connect(self.url) as connection:
            tables = connection.execute(
                "SELECT table_name FROM information_schema.tables WHERE table_schema = 'public' ORDER BY 1"
            ).fetchall()
            for (name,) in tables:
                yield name, sorted(map(repr, connection.execute(f'SELECT * FROM "{name}"')))
            yield "what the database promises", sorted(map(repr, connection.execute(PROMISES)))


class Children:
    """The program that forks, and the child that runs at present."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        assert process.stdin
        assert process.stdout
        self.orders: IO[str] = process.stdin
        self.news: IO[str] = process.stdout

    def begin(self, order: str) -> int:
        self.orders.write(f"{order}\n")
        self.orders.flush()
        return int(self.news.readline())

    def end(self) -> tuple[int, int]:
        """Exit code, negative for a signal, and the touches that it counted (nought where it was killed)."""
        code, touches = self.news.readline().split()
        return int(code), int(touches)

    def do(self, order: str) -> tuple[int, int]:
        self.begin(order)
        return self.end()


@contextmanager
def children(mill: BackupMill, log: Path) -> Iterator[Children]:
    with (
        log.open("ab") as errors,
        subprocess.Popen(
            PROGRAM,
            cwd=ROOT,
            env=mill.environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
        ) as process,
    ):
        yield Children(process)
        assert process.stdin
        process.stdin.close()


# -------- within the program


def add_photos(count: int) -> None:
    """A note that has so many photos, each of its own."""
    from tests.service.photographs import photo
    from wearlog.logbook import actions
    from wearlog.people.models import Role, User
    from wearlog.runs.models import ShiftNote
    from wearlog.service.pictures import picture_of

    at = datetime(2026, 3, 20, 18, tzinfo=UTC)
    by, _made = User.objects.get_or_create(username="operator", defaults={"role": Role.OPERATOR})
    number = ShiftNote.objects.count()
    note = ShiftNote.objects.create(written_at=at, by_name="Mira", text=f"Look here, {number}")
    pictures = [picture_of(photo((50 + 7 * number + step, 40))) for step in range(count)]
    actions.keep_photos(by=by, at=at, record=note, pictures=pictures)


def fill(how: str) -> None:
    from tests.migrated import migrate

    migrate(no_backup=True)
    if how == "demo":
        from wearlog.logbook import demo

        demo.load(by=None, today=datetime(2026, 3, 20, tzinfo=UTC).date())
    add_photos(2)


def die_at(number: int, within: tuple[str, ...]) -> list[int]:
    """Kill this process before that touch; the list's one number counts them."""
    counted = [0]

    def hook(event: str, words: tuple[Any, ...]) -> None:
        if event not in TOUCHES:
            return
        if event not in ("subprocess.Popen", "fcntl.flock") and not str(words[0]).startswith(within):
            return
        counted[0] += 1
        if counted[0] == number:
            os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(hook)
    return counted


def child(words: list[str]) -> int:
    from django.conf import settings
    from django.core.management import call_command

    if words == ["start"]:
        from wearlog.logbook.backups import swapping

        swapping.finish(settings.DATA_DIR, settings.DATABASES["default"])
        return 0
    what, file, number = words
    counted = die_at(int(number), (str(settings.DATA_DIR), str(Path(file).parent)))
    more = {"with_keys": True, "replace": True} if what == "backup" else {}
    said = StringIO()
    with redirect_stdout(said), redirect_stderr(said):
        call_command(what, file, **more)
    return counted[0]


def main() -> None:
    import django

    django.setup()
    if sys.argv[1:]:
        if sys.argv[1] == "photos":
            add_photos(int(sys.argv[2]))
        else:
            fill(sys.argv[1])
        return
    from importlib import import_module

    for name in ("making", "restoring", "postgres"):
        import_module(f"wearlog.logbook.backups.{name}")
    for line in sys.stdin:
        news, ours = os.pipe()
        pid = os.fork()
        if pid == 0:
            try:
                os.write(ours, str(child(line.split())).encode())
            except BaseException:
                traceback.print_exc()
                os._exit(1)
            os._exit(0)
        os.close(ours)
        print(pid, flush=True)
        _pid, status = os.waitpid(pid, 0)
        touches = os.read(news, 20).decode() or "0"
        os.close(news)
        print(os.waitstatus_to_exitcode(status), touches, flush=True)


if __name__ == "__main__":
    main()

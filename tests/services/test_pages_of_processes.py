"""What several processes of the site keep never lies: entries at random through the one door of either, and
after each the pages of both, and of one that has just started and finds what a worker has stored, say what a
process says that has kept nothing and finds nothing."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests import migrated
from tests.examples import bounded
from tests.services.processes import ROOT, SHIPPED

PAGES = (
    "/",
    "/due/?state=all",
    "/presses/",
    "/presses/{}/",
    "/parts/",
    "/parts/{}/",
    "/compare/",
    "/worth/pays/",
)


class Reader:
    """One process (`page_reader`), told what to do."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process

    def tell(self, **what: object) -> object:
        assert self.process.stdin
        assert self.process.stdout
        self.process.stdin.write(json.dumps(what) + "\n")
        self.process.stdin.flush()
        answer = self.process.stdout.readline()
        assert answer, "the process ended"
        return json.loads(answer)

    def read(self, path: str, how: str = "kept") -> object:
        return self.tell(do="read", path=path, how=how)


@contextmanager
def readers(database_url: str, folder: Path, count: int) -> Iterator[list[Reader]]:
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")} | {
        "DJANGO_SETTINGS_MODULE": SHIPPED,
        "DATABASE_URL": database_url,
        "DATA_DIR": str(folder),
        "ALLOWED_HOSTS": "testserver",
        "HTTPS": "0",
        "PYTHONPATH": str(ROOT),
    }
    command = [sys.executable, "-m", "tests.services.page_reader"]
    processes = [
        subprocess.Popen(
            command, cwd=ROOT, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        for _ in range(count)
    ]
    try:
        yield [Reader(process) for process in processes]
    finally:
        for process in processes:
            process.communicate()


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    if request.param == "postgresql":
        return str(request.getfixturevalue("postgres_url"))
    migrated.make(tmp_path / "wearlog.sqlite3", tmp_path)
    return f"sqlite:///{tmp_path / 'wearlog.sqlite3'}"


def test_pages_of_two_processes_say_what_a_process_says_that_has_kept_nothing(
    database_url: str, tmp_path: Path
) -> None:
    chance = random.Random(3)
    with readers(database_url, tmp_path, 3) as (first, second, fresh):
        first.tell(do="build")
        taken = 0
        for turn in range(bounded(24, 6)):
            if not chance.choice([first, second]).tell(do="enter", seed=chance.randrange(10_000)):
                continue
            taken += 1
            if turn % 3 == 0:
                second.tell(do="refresh", by_press=turn % 2 > 0)
            number = chance.randint(1, 3)
            for page in PAGES:
                path = page.format(number)
                said = fresh.read(path, "anew")
                assert isinstance(said, list)
                assert said[0] == 200, path
                others = [first.read(path), second.read(path), fresh.read(path, "started")]
                assert others == [said] * 3, path
        assert taken >= 2

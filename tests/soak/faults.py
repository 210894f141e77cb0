"""Run as a program: the process faults at full size, on real servers, with the figures as a table.

`python -m tests.soak.faults` runs them all (about an hour on two cores), `... kills redis` those named.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg

from tests.services import queue_faults, servers
from tests.services.kills import Killed, kill_senders
from tests.services.one_process import killed_and_ended
from tests.services.processes import SHIPPED
from tests.services.queue_faults import Mailed


@contextmanager
def database(name: str) -> Iterator[str]:
    programs = servers.postgres_programs()
    assert programs, "PostgreSQL is not here: install the `test` extra, or a server"
    with servers.postgres_server(programs) as url:
        with psycopg.connect(f"{url}/postgres", autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")
        yield f"{url}/{name}"


@contextmanager
def queue() -> Iterator[servers.RedisServer]:
    program = servers.redis_program()
    assert program, "Redis is not here: install the `test` extra, or a server"
    with servers.redis_server(program) as server:
        yield server


def kills_on_sqlite(folder: Path) -> str:
    return told_of(kill_senders(f"sqlite:///{folder / 'wearlog.sqlite3'}", folder, times=200, seed=1))


def kills_on_postgresql(folder: Path) -> str:
    with database("kills") as url:
        return told_of(kill_senders(url, folder, times=200, seed=2))


def told_of(found: Killed) -> str:
    assert found.arrived == found.due
    assert found.owed <= found.copies
    more = sum((found.copies - found.owed).values())
    assert more <= found.anywhere
    places = ", ".join(f"{number} {place.value}" for place, number in sorted_kills(found))
    return (
        f"{sum(found.kills.values())} kills ({places}): {found.arrived} of {found.due} arrived, "
        f"{found.copies.total()} copies, {found.owed.total()} of them owed"
    )


def sorted_kills(found: Killed) -> list[tuple[object, int]]:
    return sorted(found.kills.items(), key=lambda pair: list(type(pair[0])).index(pair[0]))  # type: ignore[arg-type]


def many_schedulers(folder: Path) -> str:
    with database("many") as url, queue() as redis:
        found = queue_faults.many_schedulers(url, redis, folder, presses=50, rules=20, ceiling=1200)
        return mailed(found) + f"; all after {found.took[0]:.0f} s"


def redis_away(folder: Path) -> str:
    """With the schedule as it is shipped, once a minute."""
    with database("away") as url, queue() as redis:
        found = queue_faults.redis_away(url, redis, folder, settings=SHIPPED, away=90, presses=60, rules=12)
        (first,) = found.took
        assert first < 300
        return (
            f"{mailed(found)}; 90 s away, the next mail {first:.0f} s after its return; "
            f"an entry meanwhile took {max(found.logging_took):.1f} s"
        )


def redis_restarts(folder: Path) -> str:
    with database("restarts") as url, queue() as redis:
        found = queue_faults.redis_restarts(url, redis, folder, times=100, seed=3)
        assert max(found.took) < 60
        return (
            f"{mailed(found)}; {len(found.took)} restarts, next task within {max(found.took):.0f} s; "
            f"{found.started_again} processes ended and were started again"
        )


def terminated(folder: Path) -> str:
    with database("ended") as url, queue() as redis:
        found = queue_faults.terminated(url, redis, folder, presses=25, rules=20, times=5)
        assert max(found.took) < 30
        return mailed(found) + f"; {len(found.took)} workers ended within {max(found.took):.1f} s"


def scanner_stopped(folder: Path) -> str:
    """With the schedule as it is shipped, and the five minutes waited for."""
    with database("stopped") as url, queue() as redis:
        (took,) = queue_faults.scanner_stopped(url, redis, folder, settings=SHIPPED, wait=True).took
        assert took < 370
        return f"503 and a banner {took:.0f} s after the scheduler was stopped, 200 again after its return"


def one_process(folder: Path) -> str:
    found = killed_and_ended(folder, kills=10, presses=40, rules=10, seed=4, wait_for_leases=True)
    assert found.arrived == found.due
    assert found.copies <= 11
    return (
        f"10 kills, 1 end: {found.arrived} of {found.due} arrived, {found.copies} copies; "
        f"ended within {max(found.took):.1f} s"
    )


def mailed(found: Mailed) -> str:
    assert (found.arrived, found.copies) == (found.due, 0), found
    return f"{found.arrived} of {found.due} arrived, {found.copies} copies"


FAULTS: dict[str, Callable[[Path], str]] = {
    "kills on SQLite (F1)": kills_on_sqlite,
    "kills on PostgreSQL (F1)": kills_on_postgresql,
    "two schedulers, four workers (F2)": many_schedulers,
    "Redis flushed and away (F3)": redis_away,
    "Redis restarts (F4)": redis_restarts,
    "workers ended (F6)": terminated,
    "scanner stopped (F16)": scanner_stopped,
    "one process killed and ended (F1, F6)": one_process,
}


def main(words: list[str]) -> int:
    failed = 0
    for name, fault in FAULTS.items():
        if words and not any(word.casefold() in name.casefold() for word in words):
            continue
        begun = time.monotonic()
        with tempfile.TemporaryDirectory(prefix="wearlog-fault-") as folder:
            try:
                said = fault(Path(folder))
            except AssertionError as error:
                failed, said = failed + 1, f"FAILED: {error}"
        print(f"| {name} | {said} | {time.monotonic() - begun:.0f} s |", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

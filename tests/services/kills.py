"""Kill senders at places of the conversation, again and again, and count what came of it."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import IO

from tests.services.processes import ROOT, fill, surroundings, until
from tests.services.row_lock import RowLock
from tests.services.staged_smtp import Place, StagedServer, staged_server

LEASE_IS_OVER = timedelta(minutes=10)
MAY_COST_A_COPY = (Place.MAIL_TAKEN, Place.AFTER_250)


@dataclass
class Killed:
    """What came of the kills. `copies` by Message-ID: how many more than one arrived."""

    due: int
    kills: Counter[Place] = field(default_factory=Counter)
    arrived: int = 0
    copies: Counter[str] = field(default_factory=Counter)
    owed: Counter[str] = field(default_factory=Counter)
    """Copies that a kill after the hand-over must have made."""

    @property
    def anywhere(self) -> int:
        return self.kills[Place.ANYWHERE]


class Forker:
    """The program that forks senders, and the child that runs at present."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process
        assert process.stdin
        assert process.stdout
        self.orders: IO[str] = process.stdin
        self.news: IO[str] = process.stdout

    def start(self, what: str, start: datetime) -> int:
        self.orders.write(f"{what} {start.isoformat()}\n")
        self.orders.flush()
        return int(self.news.readline())

    def ended(self) -> int:
        """Wait for the child; its exit code, negative for a signal."""
        return int(self.news.readline())

    def kill(self, child: int) -> None:
        os.kill(child, signal.SIGKILL)
        code = self.ended()
        assert code == -signal.SIGKILL, f"it had ended by itself, with {code}"


@contextmanager
def forker(environment: dict[str, str], log: Path) -> Iterator[Forker]:
    with (
        log.open("ab") as errors,
        subprocess.Popen(
            [sys.executable, "-m", "tests.services.forker"],
            cwd=ROOT,
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
        ) as process,
    ):
        yield Forker(process)
        assert process.stdin
        process.stdin.close()


def kill_senders(database_url: str, folder: Path, *, times: int, seed: int) -> Killed:
    """Kill `times` senders, at each place in turn; then let one finish."""
    dice = random.Random(seed)
    places = [list(Place)[number % len(Place)] for number in range(times)]
    dice.shuffle(places)
    start = datetime(2026, 4, 1, 8, tzinfo=UTC)
    with staged_server() as mail:
        environment = surroundings(database_url, mail, folder)
        presses, rules = max(4, times // 8), 20
        fill(environment, presses=presses, rules=rules)
        found = Killed(due=presses * rules)
        lock = RowLock(database_url)
        with forker(environment, folder / "forker.log") as senders:
            senders.start("scan", start)
            assert senders.ended() == 0
            for place in places:
                start += LEASE_IS_OVER  # what the dead one had leased is free by then
                kill_at(place, senders, mail, lock, start=start, dice=dice, found=found)
                found.kills[place] += 1
            mail.stage(Place.ANYWHERE, after=0)
            for what in ("both", "both"):
                start += LEASE_IS_OVER
                senders.start(what, start)
                assert senders.ended() == 0
        lock.close()
        counted = Counter(mail.ids())
    found.arrived = len(counted)
    found.copies = Counter({key: number - 1 for key, number in counted.items() if number > 1})
    return found


def kill_at(
    place: Place,
    senders: Forker,
    mail: StagedServer,
    lock: RowLock,
    *,
    start: datetime,
    dice: random.Random,
    found: Killed,
) -> None:
    mail.stage(place, after=dice.randint(0, 3))
    mail.before_250 = lock.take
    if place is Place.BEFORE_LEASE:
        lock.take()
        child = senders.start("send", start)
        lock.wait_until_in_the_way(at_least=dice.uniform(0.0, 0.4))
    elif place is Place.ANYWHERE:
        count = len(mail.ids())
        child = senders.start("both", start)
        if wanted := dice.randint(0, 4):
            assert until(lambda: len(mail.ids()) >= count + wanted, 60, every=0.001)
            time.sleep(dice.uniform(0, 0.02))
        else:
            time.sleep(dice.uniform(0, 0.2))
    else:
        child = senders.start("send", start)
        assert mail.reached.wait(60), f"no sender came as far as {place.value}"
        if place is Place.AFTER_250:
            lock.wait_until_in_the_way(at_least=dice.uniform(0.0, 0.1))
    if place in MAY_COST_A_COPY:
        found.owed[mail.ids()[-1]] += 1
    senders.kill(child)
    lock.forget_the_dead()
    lock.release()
    mail.go_on.set()

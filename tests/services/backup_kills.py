"""Kill backups and restores in their midst, again and again: the old state or the new one, never a third.

By itself the full size: `python -m tests.services.backup_kills --kills 100 --seed 1 [--postgresql]`.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import tempfile
import time
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from tests.mills.backup_mill import PROGRAM, BackupMill, Children, children
from tests.services import servers
from tests.services.processes import run
from wearlog.logbook.backups import archive

LAST_TOUCHES = 25


@dataclass
class Outcome:
    """What came of the kills: of backups whether the file was old or new, of restores the same of all data;
    `third` tells each that was neither."""

    backups: Counter[str] = field(default_factory=Counter)
    restores: Counter[str] = field(default_factory=Counter)
    too_late: int = 0
    third: list[str] = field(default_factory=list)


def kill_both(mill: BackupMill, folder: Path, *, kills: int, seed: int) -> Outcome:
    """Of a mill that was filled: half of the kills in mid-backup and half in mid-restore; of each the half
    before a touch that was drawn by lot, the others after a time that was."""
    dice, found = random.Random(seed), Outcome()
    first, second, spare = folder / "first.zip", folder / "second.zip", folder / "spare.zip"
    mill.manage("backup", str(first), "--with-keys")
    states = {"first": mill.holds()}
    run([*PROGRAM, "photos", "3"], mill.environment)
    (mill.data / "secret_key").write_text("-a-key-for-tests-alone" * 3)
    mill.manage("backup", str(second), "--with-keys")
    states["second"] = mill.holds()
    assert states["first"] != states["second"]
    with children(mill, folder / "children.log") as forks:
        _kill_backups(mill, forks, spare, dice, found, kills=kills // 2)
        _kill_restores(
            mill, forks, {"first": first, "second": second}, states, dice, found, kills - kills // 2
        )
    return found


def _measure(forks: Children, order: str) -> tuple[int, float]:
    """How often it touches anything, and how long it takes, the second time: the first one also warms up."""
    for _ in range(2):
        begun = time.monotonic()
        code, touches = forks.do(f"{order} 0")
        assert code == 0, "it does not even work alone"
    return touches, time.monotonic() - begun


def _kill(
    forks: Children, order: str, number: int, touches: int, takes_s: float, dice: random.Random
) -> bool:
    """Kill one child; False where it had ended before."""
    if number % 2:
        first = max(1, touches - LAST_TOUCHES) if number % 4 == 1 else 1  # the swap is at the end
        forks.begin(f"{order} {dice.randint(first, touches)}")
    else:
        pid = forks.begin(f"{order} 0")
        time.sleep(dice.uniform(0, takes_s))
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
    return forks.end()[0] == -signal.SIGKILL


def _kill_backups(
    mill: BackupMill, forks: Children, target: Path, dice: random.Random, found: Outcome, *, kills: int
) -> None:
    touches, takes_s = _measure(forks, f"backup {target}")
    before = target.read_bytes()
    for number in range(kills):
        while not _kill(forks, f"backup {target}", number, touches, takes_s, dice):
            found.too_late += 1
            before = target.read_bytes()
        archive.check(target)
        now = target.read_bytes()
        found.backups["the old file" if now == before else "the new file"] += 1
        before = now


def _kill_restores(
    mill: BackupMill,
    forks: Children,
    files: dict[str, Path],
    states: dict[str, dict[str, object]],
    dice: random.Random,
    found: Outcome,
    kills: int,
) -> None:
    touches, takes_s = _measure(forks, f"restore {files['first']}")
    is_now = "first"
    wrong = differing(mill.holds(), states[is_now])
    assert not wrong, wrong
    for number in range(kills):
        wanted = "second" if is_now == "first" else "first"
        while not _kill(forks, f"restore {files[wanted]}", number, touches, takes_s, dice):
            found.too_late += 1
            is_now, wanted = wanted, is_now
        code, _touches = forks.do("start")
        assert code == 0
        held = mill.holds()
        if held == states[is_now]:
            found.restores["the old state"] += 1
        elif held == states[wanted]:
            found.restores["the new state"] += 1
            is_now = wanted
        else:
            found.third.append(f"kill {number}: {differing(held, states[wanted])}")
            return


def differing(held: dict[str, object], stated: dict[str, object]) -> list[str]:
    """Which tables and files differ."""
    return sorted(name for name in {*held, *stated} if held.get(name) != stated.get(name))


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.services.backup_kills")
    parser.add_argument("--kills", type=int, default=200, help="half of them in backups, half in restores")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--postgresql", action="store_true")
    asked = parser.parse_args()
    begun = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="wearlog-kills-") as place:
        folder = Path(place)
        if asked.postgresql:
            programs = servers.postgres_programs()
            assert programs
            with servers.postgres_server(programs) as server:
                mill = BackupMill(folder / "data", f"{server}/postgres")
                mill.fill("small")
                found = kill_both(mill, folder, kills=asked.kills, seed=asked.seed)
        else:
            mill = BackupMill(folder / "data", f"sqlite:///{folder / 'data' / 'wearlog.sqlite3'}")
            mill.fill("small")
            found = kill_both(mill, folder, kills=asked.kills, seed=asked.seed)
        log = (folder / "children.log").read_text()
    print(found, f"{time.monotonic() - begun:.0f} s")
    print(log[-2000:])
    return 1 if found.third else 0


if __name__ == "__main__":
    raise SystemExit(main())

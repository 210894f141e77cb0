"""Entries while the disk fills up and is cleared again.

`python -m tests.soak.full_disk --rounds 10 --entries 40`: a small file system in memory (as root; else SQLite
is told that its file may not grow) holds the log of real pages. In each round it is filled to the last byte
after some of the entries. Every entry has a name, as a phone gives it, and is sent again until it is stored.
In the end the log is held against what was sent.
"""

from __future__ import annotations

import argparse
import random
import sqlite3
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.reminders.smtp import MailServer
from tests.services.fetching import fetch, note
from tests.services.pages import pages
from tests.services.processes import fill, surroundings
from tests.services.small_disk import small_disk


def walk(*, rounds: int, entries: int, seed: int, home: Path) -> dict[str, object]:
    """Figures by their names: what was sent, what came back, what stands in the log."""
    lots, came, begun = random.Random(seed), Counter[str](), time.monotonic()
    with small_disk(home / "disk", 32) as disk:
        environment = surroundings(
            f"sqlite:///{disk.folder}/mill.sqlite3", MailServer(port=9), disk.folder,
            DEBUG="0", HTTPS="0", SECRET_KEY="-a-key-for-tests-alone" * 3, ALLOWED_HOSTS="127.0.0.1",
            DJANGO_SETTINGS_MODULE=disk.settings,
        )  # fmt: skip
        fill(environment, presses=1, rules=1)
        with pages(environment, home) as visitor:
            typed = note(visitor)
            for turn in range(rounds):
                kept = {f"q-{turn}-{number}": f"{turn} {number} {typed['text']}" for number in range(entries)}
                full_at = lots.randrange(entries)
                for number, (name, text) in enumerate(list(kept.items())):
                    if number == full_at:
                        disk.fill()
                    came[send(visitor, typed, name, text, kept)] += 1
                disk.clear()
                for name, text in list(kept.items()):
                    came[send(visitor, typed, name, text, kept)] += 1
                if kept:
                    came["not stored although there was room"] += len(kept)
            came[f"page to read: {fetch(visitor, '/').status}"] += 1
        with sqlite3.connect(disk.folder / "mill.sqlite3") as connection:
            whole = connection.execute("PRAGMA integrity_check").fetchone()[0]
            texts = [row[0].strip() for row in connection.execute("SELECT text FROM runs_shiftnote")]
    return {
        "disk": "a file system in memory" if disk.real else "SQLite told not to grow",
        "entries": rounds * entries,
        "answers": dict(sorted(came.items())),
        "lost": rounds * entries - len(set(texts)),
        "doubled": len(texts) - len(set(texts)),
        "integrity_check": whole,
        "tracebacks in the log": (home / "pages.log").read_text().count("Traceback"),
        "seconds": round(time.monotonic() - begun),
    }


def send(visitor: object, typed: dict[str, str], name: str, text: str, kept: dict[str, str]) -> str:
    answer = fetch(visitor, "/log/note/", typed | {"ref": name, "text": text[:4000]}, queue=name)  # type: ignore[arg-type]
    if answer.json.get("state") == "saved":
        del kept[name]
    return f"{answer.status} {answer.json.get('state', 'a page')}"


def main() -> None:
    asks = argparse.ArgumentParser(description=__doc__)
    asks.add_argument("--rounds", type=int, default=10)
    asks.add_argument("--entries", type=int, default=40)
    asks.add_argument("--seed", type=int, default=1)
    given = asks.parse_args()
    with tempfile.TemporaryDirectory(prefix="wearlog-full-") as home:
        figures = walk(rounds=given.rounds, entries=given.entries, seed=given.seed, home=Path(home))
    for name, value in figures.items():
        print(f"{name}: {value}")


if __name__ == "__main__":
    main()

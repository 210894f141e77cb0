"""The swap of the live data for the restored one, which survives being interrupted at any point.

`SwapJournal` writes the renames to a journal file; from then on the restore will be completed. `finish`
carries them out and is idempotent: the settings call it before any data is opened, so that every program
started after a kill sees either the old state or the new one. It does not import Django, since the settings
import it.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO

from wearlog.logbook.backups.archive import sync_folder
from wearlog.logbook.backups.holding import own_like_folder, wait_for

JOURNAL = "restore-decided.json"


@dataclass(frozen=True)
class Move:
    """Rename `live` to `aside`, and `new` to `live`; `new` is empty where nothing replaces it. All three are
    on one disk."""

    live: str
    aside: str
    new: str = ""


@dataclass(frozen=True)
class Schemas:
    """The same for a PostgreSQL database, by names of schemas."""

    live: str
    aside: str
    new: str


class SwapJournal:
    """The journal of a swap, locked by this process until the swap is carried out or taken back."""

    def __init__(self, data_dir: Path, moves: Sequence[Move], schemas: Schemas | None) -> None:
        self.path = data_dir / JOURNAL
        beside = data_dir / f".{JOURNAL}"
        content = {"moves": [asdict(move) for move in moves], "schemas": schemas and asdict(schemas)}
        handle = os.open(beside, os.O_RDWR | os.O_CREAT | os.O_TRUNC, 0o600)
        self.stream = os.fdopen(handle, "r+", encoding="utf-8")
        wait_for(self.stream)  # programs that start meanwhile wait for its end
        json.dump(content, self.stream)
        self.stream.flush()
        os.fsync(self.stream.fileno())
        os.replace(beside, self.path)
        sync_folder(data_dir)

    def carry_out(self, database: Mapping[str, object]) -> None:
        _carry_out(self.stream, database)
        self.take_back()

    def take_back(self) -> None:
        self.path.unlink()
        sync_folder(self.path.parent)
        self.stream.close()


def finish(data_dir: Path, database: Mapping[str, object]) -> bool:
    """Finish an interrupted swap; False where there is none. `database` is the entry of Django's DATABASES.
    Raises OSError or the database's error where it can't be finished yet; then try again later."""
    path = data_dir / JOURNAL
    try:
        stream = path.open("r+", encoding="utf-8")
    except (FileNotFoundError, NotADirectoryError):
        return False
    with stream:
        wait_for(stream)
        if path.exists():  # else the process that held it has finished
            _carry_out(stream, database)
            path.unlink()
            sync_folder(data_dir)
    return True


def _carry_out(stream: IO[str], database: Mapping[str, object]) -> None:
    stream.seek(0)
    content = json.load(stream)
    if content["schemas"]:
        from wearlog.logbook.backups import postgres

        postgres.swap(database, **content["schemas"])
    for move in content["moves"]:
        _move(Move(**move))


def _move(move: Move) -> None:
    live, aside, new = Path(move.live), Path(move.aside), Path(move.new or move.live)
    if move.new and not new.exists():
        return  # already done
    if live.exists() and not aside.exists():
        aside.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        own_like_folder(aside.parent, live.parent)
        os.rename(live, aside)
        sync_folder(aside.parent)
        sync_folder(live.parent)
    if move.new:
        live.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        os.replace(new, live)
        sync_folder(live.parent)
        sync_folder(new.parent)

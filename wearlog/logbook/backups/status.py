"""The outcome of the last backups: a small file in the data folder, which a restore does not replace."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path

from wearlog.logbook.backups.archive import sync_folder
from wearlog.logbook.backups.holding import own_like_folder
from wearlog.logbook.backups.retention import AHEAD

FILE = "backups.json"
OLD_AFTER = timedelta(hours=49)
"""Two days and an hour: one missed day raises no alarm, two do."""
EACH = timedelta(hours=23)
"""A little less than a day, so that a machine that is switched on every morning makes one every day."""
AGAIN_AFTER = timedelta(hours=1)


@dataclass(frozen=True)
class Status:
    """`made_at` is the time of the last complete backup, `kept_at` of the last one in the backup folder,
    `failed_at` and `why` of a failure since; None where there was none. `folders` are those used before."""

    made_at: datetime | None = None
    kept_at: datetime | None = None
    file: str = ""
    failed_at: datetime | None = None
    why: str = ""
    folders: list[str] = field(default_factory=list)

    def is_old(self, *, at: datetime) -> bool:
        return self.made_at is None or at - self.made_at > OLD_AFTER

    def is_due(self, *, at: datetime) -> bool:
        """Whether the schedule should make the next backup now; also where the last one lies in the future
        because the clock was set back."""
        if self.failed_at is not None and timedelta(0) <= at - self.failed_at < AGAIN_AFTER:
            return False
        return self.kept_at is None or not -AHEAD <= at - self.kept_at < EACH


def read(data_dir: Path) -> Status:
    """The stored status; an empty one where the file can't be read."""
    try:
        content = json.loads((data_dir / FILE).read_text(encoding="utf-8"))
        return Status(
            made_at=_moment(content.get("made_at")),
            kept_at=_moment(content.get("kept_at")),
            file=str(content.get("file") or ""),
            failed_at=_moment(content.get("failed_at")),
            why=str(content.get("why") or ""),
            folders=[str(one) for one in content.get("folders") or []],
        )
    except (OSError, ValueError, AttributeError, TypeError):
        return Status()


def made(data_dir: Path, *, at: datetime, file: Path, folder: Path | None) -> None:
    """Record a complete backup; `folder` is the backup folder where it lies in that."""
    before = read(data_dir)
    now = Status(made_at=at, kept_at=before.kept_at, file=str(file), folders=before.folders)
    if folder is not None:
        now = replace(now, kept_at=at, folders=list(dict.fromkeys([*before.folders, str(folder)])))
    _write(data_dir, now)


def failed(data_dir: Path, *, at: datetime, why: str) -> None:
    _write(data_dir, replace(read(data_dir), failed_at=at, why=why))


def _moment(text: str | None) -> datetime | None:
    found = datetime.fromisoformat(text) if text else None
    return found if found is None or found.tzinfo else None


def _write(data_dir: Path, status: Status) -> None:
    content = {k: v.isoformat() if isinstance(v, datetime) else v for k, v in asdict(status).items()}
    beside = data_dir / f".{FILE}-{os.getpid()}"
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as stream:
        json.dump(content, stream, indent=1)
        stream.flush()
        os.fsync(stream.fileno())
    own_like_folder(beside, data_dir)
    os.replace(beside, data_dir / FILE)
    sync_folder(data_dir)

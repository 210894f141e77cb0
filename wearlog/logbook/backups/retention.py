"""Which backups are kept and which are deleted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

AHEAD = timedelta(hours=1)


@dataclass(frozen=True)
class RetentionRule:
    """A retention rule: keep the newest backup of each of the last so many days, weeks and months that have
    one."""

    days: int = 7
    weeks: int = 4
    months: int = 12


@dataclass(frozen=True)
class BackupFile:
    """A backup file with the time and the reason that its name states."""

    path: Path
    at: datetime
    why: str


def read_retention_rule(text: str) -> RetentionRule:
    """`7,4,12` as days, weeks, months; raises ImproperlyConfigured with the variable's name."""
    if not text.strip():
        return RetentionRule()
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != 3 or not all(part.isdecimal() and len(part) <= 4 for part in parts) or int(parts[0]) < 1:
        raise ImproperlyConfigured(
            f"BACKUP_KEEP={text!r} can't be used: write how many days, weeks and months keep their newest "
            "backup, at least one day, as in 7,4,12."
        )
    return RetentionRule(*(int(part) for part in parts))


def expired(made: Sequence[BackupFile], keep: RetentionRule, *, at: datetime) -> list[BackupFile]:
    """The backups that `keep` does not need; days and weeks are in UTC. The newest is always kept. Backups
    dated in the future by a wrong clock are neither deleted nor counted."""
    past = sorted((one for one in made if one.at <= at + AHEAD), key=lambda one: one.at, reverse=True)
    staying = set(past[:1])
    periods: tuple[tuple[int, Callable[[datetime], tuple[int, ...]]], ...] = (
        (keep.days, lambda moment: (moment.year, moment.month, moment.day)),
        (keep.weeks, lambda moment: tuple(moment.isocalendar()[:2])),
        (keep.months, lambda moment: (moment.year, moment.month)),
    )
    for count, period_of in periods:
        newest: dict[tuple[int, ...], BackupFile] = {}
        for one in past:
            newest.setdefault(period_of(one.at), one)
        staying |= set(list(newest.values())[:count])
    return [one for one in past if one not in staying]

"""F1: senders killed before the lease, after it, with the mail handed over, before the commit, and anywhere.

The full numbers: `python -m tests.soak.faults kills`.
"""

from __future__ import annotations

from pathlib import Path

from tests.services.kills import Killed, kill_senders
from tests.services.staged_smtp import Place


def check(found: Killed, kills_at_each_place: int) -> None:
    assert found.kills == dict.fromkeys(Place, kills_at_each_place)
    assert found.arrived == found.due
    more = found.copies - found.owed
    assert sum(more.values()) <= found.anywhere
    assert found.owed <= found.copies, "a mail whose sender died before the commit comes once more"


def test_senders_killed_at_each_place_on_sqlite_lose_nothing(tmp_path: Path) -> None:
    check(kill_senders(f"sqlite:///{tmp_path / 'wearlog.sqlite3'}", tmp_path, times=20, seed=11), 4)


def test_senders_killed_at_each_place_on_postgresql_lose_nothing(postgres_url: str, tmp_path: Path) -> None:
    check(kill_senders(postgres_url, tmp_path, times=20, seed=12), 4)

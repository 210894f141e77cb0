"""F1 and F6 in small where one process does everything: SQLite, no Redis, no worker."""

from __future__ import annotations

from pathlib import Path

from tests.services.one_process import killed_and_ended


def test_the_one_process_killed_and_ended_in_mid_run_loses_nothing(tmp_path: Path) -> None:
    found = killed_and_ended(tmp_path, kills=2, presses=10, rules=10, seed=5, wait_for_leases=False)
    assert found.arrived == 100
    assert found.copies <= 3  # two kills, and one end in the middle of a mail
    assert max(found.took) < 30

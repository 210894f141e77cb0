"""In small: people enter while an import goes on, and workers are killed in the midst of one.

The full numbers: `python -m tests.soak.imports`.
"""

from __future__ import annotations

from pathlib import Path

from tests.services.importing import by_worker, import_beside, kill_imports


def test_people_enter_without_an_error_while_an_import_goes_on(tmp_path: Path) -> None:
    found = import_beside(tmp_path, runs=6_000, people=2, every_s=0.3)

    assert found.errors == []
    assert found.states[-1] == "done"
    assert len(found.entries) >= 6
    entered = found.runs - 6_000
    assert entered + found.notes == len(found.entries)


def test_a_worker_killed_at_any_moment_leaves_all_or_nothing_and_another_goes_on(tmp_path: Path) -> None:
    found = kill_imports(tmp_path, runs=3_000, times=2, seed=3)

    assert found.kills >= 1
    assert found.halves == []
    assert found.ended == ["done"] * 2


def test_a_worker_that_is_woken_carries_an_import_out(redis_url: str, tmp_path: Path) -> None:
    assert by_worker(tmp_path, redis_url, runs=500) == "done"

"""The log's version: every write raises it, and what was derived from an older one is derived again."""

from __future__ import annotations

from collections.abc import Collection

from wearlog.history.models import LogVersion, RunsVersion


def touch(*, runs_of: Collection[int] | None = None) -> None:
    """Say that the log has changed. Call it in the transaction of the change, as its last step:
    it locks the one row that all writers share.

    runs_of: the keys of the presses whose runs or readings may have changed; None where any may have."""
    LogVersion.raise_by_one()
    RunsVersion.raise_for(runs_of)


def current() -> int:
    """The number to keep beside a derived value."""
    return LogVersion.current()


def of_runs() -> dict[int, int]:
    """The version of the runs and readings of each press, by the press's key; a press that none was written
    for is absent."""
    return dict(RunsVersion.objects.values_list("press_id", "number"))

"""The log's version: every write raises it, which makes values derived from an older version stale."""

from __future__ import annotations

from collections.abc import Collection

from wearlog.history.models import LogVersion, RunsVersion


def touch(*, runs_of: Collection[int] | None = None) -> None:
    """Record that the log has changed. Call it in the transaction of the change, as its last step, because it
    locks a row that all writers share.

    runs_of: the primary keys of the presses whose runs or readings may have changed; None where any may
    have."""
    LogVersion.raise_by_one()
    RunsVersion.raise_for(runs_of)


def current() -> int:
    """The log's version, to be stored with a derived value; 0 before the first write."""
    return LogVersion.current()


def of_runs() -> dict[int, int]:
    """The version of the runs and readings of each press, by its primary key; a press without a version yet
    is absent."""
    return dict(RunsVersion.objects.values_list("press_id", "number"))

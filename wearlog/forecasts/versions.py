"""The log's version: every write raises it, and what was derived from an older one is derived again."""

from __future__ import annotations

from wearlog.forecasts.models import LogVersion


def touch() -> None:
    """Say that the log has changed. Call it in the transaction of the change, as its last step:
    it locks the one row that all writers share."""
    LogVersion.raise_by_one()


def current() -> int:
    """The number to keep beside a derived value."""
    return LogVersion.current()

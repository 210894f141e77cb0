"""The engine broken on purpose, to see that the soak tells."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime, timedelta
from typing import Any
from unittest import mock

from wearlog.reminders.models import OutboxState
from wearlog.reminders.outbox import actions, keys
from wearlog.reminders.outbox.deliver import Delivery


@contextmanager
def broken_engine(how: str) -> Iterator[None]:
    """Broken in one of the ways of `BREAKS`; whole where `how` is empty."""
    with ExitStack() as stack:
        if how:
            stack.enter_context(BREAKS[how]())
        yield


def forgets_what_was_told() -> Any:
    """Now and then every message is taken for a new one."""
    numbers = itertools.count()

    def key(*arguments: Any, **named: Any) -> str:
        return f"{next(numbers) // 10_000} {keys.dedupe_key(*arguments, **named)}"

    return mock.patch("wearlog.reminders.outbox.queries.dedupe_key", key)


@contextmanager
def lease_without_end() -> Iterator[None]:
    """What a dead sender held is never free again, nor taken for a wrong clock's."""
    with (
        mock.patch("wearlog.reminders.outbox.actions.LEASE", timedelta(days=4000)),
        mock.patch("wearlog.reminders.models.outbox.LONGEST_LEASE", timedelta(days=9000)),
    ):
        yield


def never_tries_again() -> Any:
    """A mail server that says "later" is not asked again."""
    return mock.patch("wearlog.reminders.outbox.deliver.RETRY_AFTER", (timedelta(days=4000),))


def settles_before_it_sends() -> Any:
    """The row is called sent before its mail has left: a death or a "later" in between loses it."""

    def deliver(parcel: Any, *, at: datetime) -> Delivery:
        actions.settle(parcel.row, state=OutboxState.SENT, sent_at=at)
        return whole(parcel, at=at)

    whole = actions.deliver
    return mock.patch("wearlog.reminders.outbox.actions.deliver", deliver)


def sends_at_any_hour() -> Any:
    """Nobody's night is quiet."""
    return mock.patch("wearlog.reminders.hours.may_leave", return_value=True)


def believes_any_clock() -> Any:
    """A year ahead, and everything is overdue."""
    return mock.patch("wearlog.reminders.schedule.clock._doubt", return_value=None)


BREAKS = {
    "forgets-what-was-told": forgets_what_was_told,
    "lease-without-end": lease_without_end,
    "never-tries-again": never_tries_again,
    "settles-before-it-sends": settles_before_it_sends,
    "sends-at-any-hour": sends_at_any_hour,
    "believes-any-clock": believes_any_clock,
}

"""Ways out: what a channel has to do, the errors it may raise, and which channels the site has.

docs/channels.md tells how to write one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Protocol

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.utils.module_loading import import_string

from wearlog.forecasts.items import DueItem
from wearlog.people.models import User
from wearlog.reminders.models import OutboxRow
from wearlog.reminders.outbox.calls import Line


class DeliveryError(Exception):
    """A message did not leave. The text says why, in one line, for the outbox and the log."""


class TryLater(DeliveryError):
    """Not now, for this message: it is tried again. The others of the round go on."""


class OutOfReach(DeliveryError):
    """Nobody answers, or the channel itself is set up wrong: no fault of the address. The message is tried
    again, and the round leaves the channel's other messages for the next one."""


class RefusedHere(DeliveryError):
    """Refused for good at this address: it is stopped until somebody clears or changes it."""


@dataclass(frozen=True)
class Parcel:
    """What is to be said: one due item, or a list of them (`is_list`), to one person.

    `units` is the system that the person reads, `metric` or `us`. `lines`, where given, are the items with
    their stage and what people said of them, in the same order. The row's `message_id` and `dedupe_key` stay
    the same when the message is delivered again.
    """

    row: OutboxRow
    items: Sequence[DueItem]
    person: User
    units: str
    is_list: bool = False
    lines: Sequence[Line] = ()


class Channel(Protocol):
    """One way out. It holds no state: `deliver` is called by any number of processes at once."""

    name: str
    """What the outbox calls it, at most 20 letters; it is part of each message's key and never changes."""

    def wants(self, person: User) -> bool:
        """Whether the person is to be told by this channel. No network, few queries."""

    def address_of(self, person: User) -> str:
        """Where the person's messages go: what is stopped when it is refused for good."""

    def deliver(self, parcel: Parcel, *, at: datetime) -> None:
        """Hand the message over; return only once it was taken. Raises TryLater, OutOfReach or RefusedHere.

        Whatever else it raises sets that one message aside for an hour. It must end within four minutes,
        before the row's lease does.
        """


@cache
def _loaded(paths: tuple[str, ...]) -> dict[str, Channel]:
    found: dict[str, Channel] = {}
    for path in paths:
        try:
            channel: Channel = import_string(path)()
        except ImportError as error:
            raise ImproperlyConfigured(
                f"REMINDER_CHANNELS names {path}, which can't be imported ({error}): "
                "write the dotted path of a class, as in wearlog.reminders.channels.mail.sending.MailChannel."
            ) from error
        if not 0 < len(channel.name) <= 20 or channel.name in found:
            raise ImproperlyConfigured(
                f"REMINDER_CHANNELS: {path} calls itself {channel.name!r}; "
                "give each channel a name of its own of at most 20 letters."
            )
        found[channel.name] = channel
    return found


def channels() -> dict[str, Channel]:
    """The site's channels by name, in the order of the setting `REMINDER_CHANNELS`."""
    return _loaded(tuple(settings.REMINDER_CHANNELS))

"""Channels for messages: the protocol of a channel, the errors it may raise, and the channels of the site.

docs/channels.md explains how to write one.
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
    """A message was not delivered. The text gives the reason in one line, for the outbox and the log."""


class TryLater(DeliveryError):
    """A temporary failure of this message: it is retried. The round goes on with the others."""


class OutOfReach(DeliveryError):
    """The server does not answer, or the channel is misconfigured; the address is not at fault. The message
    is retried, and the channel's other messages are left for the next round."""


class RefusedHere(DeliveryError):
    """A permanent refusal by this address: nothing is sent there until somebody clears or changes it."""


@dataclass(frozen=True)
class Parcel:
    """The content of a message to one person: one due item, or a list of them (`is_list`).

    `units` is the system that the person reads, `metric` or `us`. `lines`, where given, are the items with
    their stage and what people said of them, in the same order. The row's `message_id` and `dedupe_key` stay
    the same when the message is delivered again, so that receivers can recognise a copy.
    """

    row: OutboxRow
    items: Sequence[DueItem]
    person: User
    units: str
    is_list: bool = False
    lines: Sequence[Line] = ()


class Channel(Protocol):
    """One channel. It must be stateless: `deliver` may run in any number of processes at once."""

    name: str
    """The channel's name in the outbox, at most 20 characters. It is part of each message's key and must
    never change."""

    def wants(self, person: User) -> bool:
        """Whether the person should get messages by this channel. No network access, few queries."""

    def address_of(self, person: User) -> str:
        """The address for the person's messages, which is stopped after a permanent refusal."""

    def deliver(self, parcel: Parcel, *, at: datetime) -> None:
        """Send the message; return only once it was accepted. Raises TryLater, OutOfReach or RefusedHere.

        Any other exception postpones that one message by an hour. It must return within four minutes, before
        the row's lease expires.
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

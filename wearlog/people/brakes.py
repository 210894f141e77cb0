"""Wrong passwords slow the next try down, and lock nobody out (docs/decisions/signing-in.md).

Each try is counted before its password is looked at, by one conditional UPDATE for each place that counts it:
of many tries at once no more get through than would one after the other. What is refused counts nothing, so
that hammering does not lengthen the wait.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Case, F, Q, QuerySet, Value, When
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.people.models import SignInBrake
from wearlog.people.refusals import Refused

FORGOTTEN_AFTER = timedelta(minutes=15)
"""After so long without a wrong password the count begins anew. No wait is longer."""


@dataclass(frozen=True)
class Pace:
    """What a place does to the next try: the failure from which on it waits, and the seconds after that one
    and each that follows; the last goes for all further ones."""

    free: int
    waits_s: tuple[int, ...]

    def wait(self, failures: int) -> timedelta:
        """How long the next try waits after so many failures."""
        if failures <= self.free:
            return timedelta(0)
        return timedelta(seconds=self.waits_s[min(failures - self.free, len(self.waits_s)) - 1])


OWN = Pace(4, (10, 20, 40, 80, 160, 900))
"""One account from one address, or from one known device: from the 5th failure on it waits, and from the
10th on a quarter of an hour."""

SHARED = Pace(19, (1, 2, 4, 8, 16, 32, 60))
"""All that is tried on one account, or from one address: gentle, since others are held up by it, too."""


class TooSoon(Refused):
    """The next try comes too early. `wait_s` is in whole seconds, 1 or more."""

    def __init__(self, wait_s: int) -> None:
        super().__init__(
            _(
                "Too many wrong passwords: wait %(wait)s before the next try, "
                "or ask an owner for a one-time link."
            )
            % {"wait": wait_words(wait_s)}
        )
        self.wait_s = wait_s


@dataclass(frozen=True)
class Try:
    """A try that has been counted as if it failed. `own` is forgotten once it turns out right."""

    own: str
    shared: tuple[str, ...]


def place(*parts: str) -> str:
    return salted_hmac("wearlog.people.brakes", "\0".join(parts), algorithm="sha256").hexdigest()


@transaction.atomic
def begin(*, account: str, address: str, known_device: str, at: datetime) -> Try:
    """Count a try before its password is looked at. `known_device` names a device from which the account has
    signed in before, or is empty: such a one has its own count, and nobody elsewhere can make it wait.

    Raises TooSoon, and then nothing is counted.
    """
    account = account.casefold()
    if known_device:
        found = Try(place("device", known_device, account), ())
    else:
        # In this order everywhere, so that no two tries wait for each other.
        shared = (place("account", account), place("address", address))
        found = Try(place("pair", account, address), shared)
    for shared_place in found.shared:
        _claim(shared_place, SHARED, at)
    _claim(found.own, OWN, at)
    return found


@transaction.atomic
def worked(tried: Try) -> None:
    """The password was right: what was typed wrong before it counts no more, and the try itself nowhere.

    The shared counts only lose this one try: who has an account of their own could reset them otherwise.
    """
    for shared_place in tried.shared:
        rows = SignInBrake.objects.filter(place=shared_place, failures__gt=0)
        rows.update(failures=F("failures") - 1)
    SignInBrake.objects.filter(place=tried.own).delete()


def clear_forgotten(*, at: datetime) -> int:
    """Delete the rows that count no more; how many."""
    return _forgotten(at).delete()[0]


def _forgotten(at: datetime) -> QuerySet[SignInBrake]:
    return SignInBrake.objects.filter(last_at__lte=at - FORGOTTEN_AFTER)


def _claim(where: str, pace: Pace, at: datetime) -> None:
    fresh = SignInBrake(place=where, failures=0, last_at=at, open_at=at)
    SignInBrake.objects.bulk_create([fresh], ignore_conflicts=True)
    # A wait that is longer than any can be was written by a clock that ran ahead.
    is_open = Q(open_at__lte=at) | Q(open_at__gt=at + FORGOTTEN_AFTER)
    over = When(last_at__lte=at - FORGOTTEN_AFTER, then=Value(1))
    steps = [
        When(failures=before, then=Value(at + pace.wait(before + 1)))
        for before in range(pace.free, pace.free + len(pace.waits_s))
    ]
    beyond = When(failures__gte=pace.free + len(pace.waits_s), then=Value(at + pace.wait(10**6)))
    claimed = SignInBrake.objects.filter(is_open, place=where).update(
        failures=Case(over, default=F("failures") + 1),
        open_at=Case(When(over.condition, then=Value(at)), *steps, beyond, default=Value(at)),
        last_at=at,
    )
    if not claimed:
        row = SignInBrake.objects.get(place=where)
        raise TooSoon(max(1, math.ceil((row.open_at - at).total_seconds())))


def wait_words(seconds: int) -> str:
    """`20 seconds`, `3 minutes`, rounded up."""
    if seconds < 60:
        return ngettext("%(number)s second", "%(number)s seconds", seconds) % {"number": seconds}
    minutes = math.ceil(seconds / 60)
    return ngettext("%(number)s minute", "%(number)s minutes", minutes) % {"number": minutes}

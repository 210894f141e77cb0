"""Rate limiting of sign-in: wrong passwords delay the next try and lock nobody out
(docs/decisions/signing-in.md).

Each try is counted before its password is checked, by one conditional UPDATE for each counter (a "place"), so
that many simultaneous tries get no further than the same number one after the other. A try that is refused
for coming too early is not counted, so that hammering does not lengthen the wait.
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
"""After this time without a wrong password the count starts again at zero. No wait is longer."""


@dataclass(frozen=True)
class WaitSchedule:
    """The waits that a counter imposes: the number of the first failure that is followed by a wait, and the
    seconds of wait after that failure and each following one; the last value applies to all further ones."""

    free: int
    waits_s: tuple[int, ...]

    def wait(self, failures: int) -> timedelta:
        """How long the next try waits after so many failures."""
        if failures <= self.free:
            return timedelta(0)
        return timedelta(seconds=self.waits_s[min(failures - self.free, len(self.waits_s)) - 1])


OWN = WaitSchedule(4, (10, 20, 40, 80, 160, 900))
"""For one account from one address, or from one known device: a wait from the 5th failure on, and from the
10th on a quarter of an hour."""

SHARED = WaitSchedule(19, (1, 2, 4, 8, 16, 32, 60))
"""For all tries on one account, or from one address: shorter waits, since they also delay other people."""


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
class Attempt:
    """A try that has been counted as a failure. Its counter `own` is deleted once the password proves
    right."""

    own: str
    shared: tuple[str, ...]


def counter_key(*parts: str) -> str:
    return salted_hmac("wearlog.people.brakes", "\0".join(parts), algorithm="sha256").hexdigest()


@transaction.atomic
def count_attempt(*, account: str, address: str, known_device: str, at: datetime) -> Attempt:
    """Count a try before its password is checked. `known_device` names a device from which the account has
    signed in before, or is empty. A known device has a counter of its own, so that tries elsewhere can't make
    it wait.

    Raises TooSoon, and then nothing is counted.
    """
    account = account.casefold()
    if known_device:
        found = Attempt(counter_key("device", known_device, account), ())
    else:
        # The same order everywhere, so that two tries can't deadlock.
        shared = (counter_key("account", account), counter_key("address", address))
        found = Attempt(counter_key("pair", account, address), shared)
    for shared_place in found.shared:
        _claim(shared_place, SHARED, at)
    _claim(found.own, OWN, at)
    return found


@transaction.atomic
def attempt_succeeded(tried: Attempt) -> None:
    """The password was right: delete the try's own counter and take the try off the shared ones.

    The shared counters lose only this one try; otherwise anybody with an account could reset them.
    """
    for shared_place in tried.shared:
        rows = SignInBrake.objects.filter(place=shared_place, failures__gt=0)
        rows.update(failures=F("failures") - 1)
    SignInBrake.objects.filter(place=tried.own).delete()


def clear_expired_counters(*, at: datetime) -> int:
    """Delete counters that have expired; return how many."""
    return _forgotten(at).delete()[0]


def _forgotten(at: datetime) -> QuerySet[SignInBrake]:
    return SignInBrake.objects.filter(last_at__lte=at - FORGOTTEN_AFTER)


def _claim(where: str, pace: WaitSchedule, at: datetime) -> None:
    fresh = SignInBrake(place=where, failures=0, last_at=at, open_at=at)
    SignInBrake.objects.bulk_create([fresh], ignore_conflicts=True)
    # A wait longer than the longest one was written while the clock was ahead, and is ignored.
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

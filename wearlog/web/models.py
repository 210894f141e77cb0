"""What the pages themselves must remember: sign-ins that failed, entries that a phone may send again."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.conf import settings
from django.db import models

MOST_FAILURES = 10
WITHIN = timedelta(minutes=15)


class SignInFailureQuerySet(models.QuerySet["SignInFailure"]):
    def recent(self, *, username: str, address: str, at: datetime) -> SignInFailureQuerySet:
        return self.filter(username=username, address=address, failed_at__gt=at - WITHIN)

    def stale(self, *, at: datetime) -> SignInFailureQuerySet:
        return self.filter(failed_at__lte=at - WITHIN)


class SignInFailure(models.Model):
    """A wrong password for one account from one address.

    Account and address together: a stranger who guesses from elsewhere can't lock the owner out.
    """

    username = models.CharField(max_length=60)
    address = models.CharField(max_length=45)
    failed_at = models.DateTimeField()

    objects = SignInFailureQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["username", "address", "failed_at"], name="sign_in_failure_recent")]

    def __str__(self) -> str:
        return f"{self.username} from {self.address}"

    @classmethod
    def too_many(cls, *, username: str, address: str, at: datetime) -> bool:
        return cls.objects.recent(username=username, address=address, at=at).count() >= MOST_FAILURES

    @classmethod
    def note(cls, *, username: str, address: str, at: datetime) -> None:
        """Remember one failure, and forget those that no longer count."""
        cls.objects.stale(at=at).delete()
        cls.objects.create(username=username, address=address, failed_at=at)

    @classmethod
    def forget(cls, *, username: str, address: str) -> None:
        """The right password was given: the slips before it don't count any more."""
        cls.objects.filter(username=username, address=address).delete()


class QueuedEntry(models.Model):
    """An entry that a phone kept and sent, with the answer that it got when it was stored."""

    name = models.CharField(max_length=60, unique=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    at = models.DateTimeField(db_index=True)
    answer = models.JSONField(null=True)

    def __str__(self) -> str:
        return self.name

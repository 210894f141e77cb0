"""The scheduled clean-up of `people`. Idempotent."""

from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from wearlog.people import sessions, throttling


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def clear_expired() -> int:
    """Delete expired sessions and expired counters of wrong passwords; return how many rows."""
    at = timezone.now()
    return sessions.clear_expired(at=at) + throttling.clear_expired_counters(at=at)

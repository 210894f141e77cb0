"""What the schedule runs: taking away what counts no more. Running it twice changes nothing."""

from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from wearlog.people import brakes, sessions


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def clear_expired() -> int:
    """Delete sessions that have run out and wrong passwords that are forgotten; how many rows."""
    at = timezone.now()
    return sessions.clear_expired(at=at) + brakes.clear_forgotten(at=at)

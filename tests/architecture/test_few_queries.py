"""No page asks the database more than thirty times, however many presses the mill has.

Every address of the site is opened by the owner in a process that has just started (the worker has stored
what is due), once more, and after an entry.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from tests.architecture.outputs import own_patterns, sample_arguments, sample_queries, sample_values
from tests.mills.everything_due import fill
from tests.mills.short_runs import log_short_run
from wearlog.equipment.models import Press
from wearlog.forecasts.memory import refresh
from wearlog.history import cache, sealing, versions
from wearlog.history.models import SealedRuns
from wearlog.people.models import Role, User
from wearlog.runs.models import Crop, Run

MOST = 30
PRESSES = 22


@pytest.fixture
def mill(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> Client:
    now = timezone.now()
    # Even so few runs are sealed, so that pages ask for sealed runs as those of a large mill do.
    monkeypatch.setattr(sealing, "FEWEST", 1)
    monkeypatch.setattr(sealing, "OPEN", timedelta(days=1))
    fill(now)
    crop = Crop.objects.get(code="canola")
    for number in range(PRESSES):
        press = Press.objects.create(code=f"Q{number}", name=f"Further press {number}")
        Run.objects.create(
            ref=f"further {number}",
            press=press,
            crop=crop,
            started_at=now - timedelta(days=3),
            ended_at=now - timedelta(days=3, hours=-4),
            ends_at=now - timedelta(days=3, hours=-4),
            seed_kg=400,
        )
    versions.touch()
    refresh.refresh(at=now)
    assert SealedRuns.objects.count() > PRESSES
    client = Client()
    client.force_login(User.objects.get(role=Role.OWNER))
    return client


def addresses(client: Client) -> Iterator[str]:
    """One page of each address of the site, and those that are asked for a press, a place or a part."""
    values = sample_values()
    for name, pattern in own_patterns():
        for arguments in sample_arguments(pattern, values):
            address = reverse(name, kwargs=arguments)
            response = client.get(address)
            if response.status_code == 200 and "html" in response.headers["Content-Type"]:
                yield address
                yield from (address + query for query in sample_queries(address))
                break


def enter(number: int) -> None:
    press, now = Press.objects.get(code="Q1"), timezone.now()
    begun = now - timedelta(minutes=2_500 - 5 * number)
    crop = Crop.objects.get(code="canola")
    log_short_run(press_id=press.pk, crop_id=crop.pk, begun=begun, at=now, minutes=2)


def test_no_page_asks_the_database_more_than_thirty_times(mill: Client) -> None:
    pages = list(addresses(mill))
    assert len(pages) > 80

    def count(before: Callable[[int], None]) -> dict[str, int]:
        found = {}
        for number, address in enumerate(pages):
            before(number)
            with CaptureQueriesContext(connection) as queries:
                mill.get(address)
            found[address] = len(queries)
        return found

    started = count(lambda _number: cache.clear_all())
    again = count(lambda _number: None)
    entered = count(enter)
    assert {
        kind: {page: number for page, number in found.items() if number > MOST}
        for kind, found in (("started", started), ("again", again), ("after an entry", entered))
    } == {"started": {}, "again": {}, "after an entry": {}}

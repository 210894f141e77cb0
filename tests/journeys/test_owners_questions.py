"""Five questions of an owner, answered on the demo mill and on two more from Today in two touches, and the
answers reckoned again from the rows of the database (`tests.journeys.asking` says how, and how near).

The days are fixed: on some days of a year a season has just begun, and little can be said of it.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
from django.test import Client
from django.utils import timezone

from tests.dates import at
from tests.journeys import asking
from tests.mills.priced_books import Book
from wearlog.logbook import demo
from wearlog.logbook.exchange.importing import import_logbook
from wearlog.people.models import Role, User


def on_day(monkeypatch: pytest.MonkeyPatch, client: Client, now: datetime) -> asking.Asked:
    """An owner who asks at an instant."""
    monkeypatch.setattr(timezone, "now", lambda: now)
    client.force_login(User.objects.create_user("boss", role=Role.OWNER))
    return asking.Asked(client)


def answered(asked: asking.Asked) -> str:
    """Puts all questions; the mark of the screw that was looked at, empty where none has an answer."""
    asking.dearest_press(asked)
    asking.lots_that_made_money(asked)
    reckoned = asking.dies_reckoned(asked)
    asking.dies_to_make(asked, reckoned)
    asking.what_to_order(asked, reckoned)
    return asking.screw_to_stop(asked)


def test_an_owners_questions_are_answered_in_two_touches(
    monkeypatch: pytest.MonkeyPatch, client: Client, db: None
) -> None:
    """One test, since the demo mill takes longest to load."""
    asked = on_day(monkeypatch, client, at("2026-12-01 11:00"))
    demo.load(by=None, today=timezone.localdate())
    assert answered(asked) == "S-03"


@pytest.mark.parametrize(("rough", "now"), [(False, "2026-12-01 11:00"), (True, "2027-01-20 11:00")])
def test_so_are_those_of_a_mill_that_writes_everything_down_and_of_one_that_does_not(
    monkeypatch: pytest.MonkeyPatch, client: Client, db: None, tmp_path: Path, rough: bool, now: str
) -> None:
    asked = on_day(monkeypatch, client, at(now))
    book = Book(timezone.localdate(), rough).write(tmp_path / "book")
    import_logbook(by=None, at=timezone.now(), source=book)
    answered(asked)

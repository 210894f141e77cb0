"""Five questions of an owner, answered on the demo mill and on two more from Today in two touches, and the
answers reckoned again from the rows of the database (`tests.journeys.asking` says how, and how near)."""

from __future__ import annotations

import pytest
from django.test import Client
from django.utils import timezone

from tests.journeys import asking
from wearlog.logbook import demo
from wearlog.people.models import Role, User


@pytest.fixture
def owner(client: Client, db: None) -> Client:
    client.force_login(User.objects.create_user("boss", role=Role.OWNER))
    return client


def answered(asked: asking.Asked) -> str:
    """Puts all questions; the mark of the screw that was looked at."""
    asking.dearest_press(asked)
    asking.lots_that_made_money(asked)
    reckoned = asking.dies_reckoned(asked)
    asking.dies_to_make(asked, reckoned)
    asking.what_to_order(asked, reckoned)
    return asking.screw_to_stop(asked)


def test_an_owners_questions_are_answered_in_two_touches(owner: Client) -> None:
    """One test, since the demo mill takes longest to load."""
    demo.load(by=None, today=timezone.localdate())
    assert answered(asking.Asked(owner)) == "S-03"

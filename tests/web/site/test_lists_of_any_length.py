"""Pages that list something ask the database as often for a long list as for a short one."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.mills.growing_mill import GrowingMill
from wearlog.history import versions
from wearlog.people.models import User

LOG = [
    "/log/",
    "/log/?press={press}",
    "/log/?kind=work",
    "/log/run/",
    "/log/run/?press={press}",
    "/log/run/?press={press}&same=1",
    "/log/sheet/",
    "/presses/{press}/week/",
    "/presses/{press}/wall-sheet/",
    "/log/work/",
    "/log/work/?press={press}",
    "/log/work/?press={press}&action=clean",
    "/log/work/?fitting={fitting}&action=replace",
    "/log/work/?fitting={fitting}&action=flip",
    "/log/incident/?press={press}",
    "/log/crop-change/?press={press}",
    "/log/note/",
    "/log/reading/?press={press}",
    "/log/measurement/?part={part}",
    "/log/fitting/end/?fitting={fitting}",
    "/log/fitting/swap/?fitting={fitting}",
    "/log/run/{run}/",
    "/log/work/{service}/",
    "/log/measurement/{gauge}/",
    "/log/fitting/{fitting}/",
    "/log/incident/{incident}/",
    "/log/run/{run}/correct/",
    "/log/work/{service}/correct/",
    "/log/incident/{incident}/correct/",
    "/log/fitting/{fitting}/correct/",
    "/log/measurement/{gauge}/correct/",
    "/log/work/{service}/void/",
    "/lots/{hold}/release/",
]
LOCKOUT = [
    "/cautions/",
    "/cautions/hot-head/",
    "/cautions/hot-head/?press={press}",
    "/cautions/every-task/",
    "/presses/{press}/energy/start/",
    "/presses/{press}/isolation/",
    "/presses/{press}/isolation/lock/",
    "/presses/{press}/isolation/off/",
    "/presses/{press}/isolation/hand-over/",
    "/presses/{press}/isolation/end/",
    "/locks/{lock}/for-another/",
    "/locks/{lock}/verify/",
    "/locks/{lock}/correct/",
    "/yearly/",
    "/yearly/record/",
    "/yearly/record/?kind=instruction",
    "/yearly/record/?look={look}",
]
SETUP = [
    "/presses/new/",
    "/presses/{press}/edit/",
    "/presses/{press}/positions/new/",
    "/positions/{place}/",
    "/presses/{press}/energy/",
    "/energy/{source}/",
    "/parts/new/",
    "/parts/{part}/edit/",
    "/part-types/",
    "/part-types/{kind}/",
    "/crops/",
    "/crops/{crop}/",
    "/rules/",
    "/rules/new/",
    "/rules/{rule}/",
    "/plan/",
    "/plan/new/",
    "/prices/",
    "/people/",
    "/people/{person}/",
    "/me/",
    "/me/devices/",
    "/settings/",
    "/exchange/",
    "/exchange/imports/{job}/",
]
PRINTING = ["/due/card/?all=due", "/labels/", "/parts/{part}/life/", "/season/"]
REMINDERS = ["/me/reminders/", "/me/calendar/", "/mail/addresses/", "/webhook/"]
PICTURES = [
    "/how-it-goes/",
    "/order/",
    "/compare/",
    "/compare/with/",
    "/presses/{press}/settings/",
    "/costs/",
    "/parts/{part}/",
]
RECORDS = [
    "/records/runs/",
    "/records/runs/?part={part}",
    "/records/work/",
    "/records/incidents/",
    "/records/gauges/",
    "/records/lives/",
    "/records/doubts/",
]
FEW, MANY = 2, 12


def queries_of(client: Client, address: str) -> int:
    """Of a page that has been opened before, so that what pages keep of the log is there."""
    assert client.get(address).status_code == 200, address
    with CaptureQueriesContext(connection) as asked:
        client.get(address)
    return len(asked)


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    "area",
    [LOG, LOCKOUT, SETUP, PRINTING, REMINDERS, PICTURES, RECORDS],
    ids=["log", "lockout", "setup", "printing", "reminders", "pictures", "records"],
)
def test_a_page_asks_as_often_for_twelve_of_everything_as_for_two(
    area: list[str], client: Client, owner: User
) -> None:
    mill = GrowingMill(owner)
    mill.grow(FEW)
    versions.touch()
    client.force_login(owner)
    keys = {name: thing.pk for name, thing in vars(mill).items() if hasattr(thing, "pk")}
    addresses = [address.format(**keys) for address in area]
    few = {address: queries_of(client, address) for address in addresses}
    mill.grow(MANY)
    versions.touch()
    many = {address: queries_of(client, address) for address in addresses}
    assert {
        address: (few[address], many[address]) for address in addresses if many[address] > few[address]
    } == {}
    assert max(many.values()) <= 30

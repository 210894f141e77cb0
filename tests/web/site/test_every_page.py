"""What holds on every page that an owner can open: nobody finds ticked what they are to state."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from tests.browser.addresses import addresses
from tests.mills.look_mill import LookMill
from tests.mills.whole_mill import whole_mill
from wearlog.people.models import User

CHOICES = {
    *("weekdays", "gets_mail", "urgent_any_time", "is_on", "is_active", "rules", "for_crops", "at_limit"),
    *("presses", "people", "what", "campaigns"),
}
"""Names of boxes that may begin ticked: wishes, settings and proposals. They state nothing of a machine."""


@pytest.fixture
def shop(db: None) -> LookMill:
    return whole_mill()


def test_no_box_by_which_a_person_states_something_is_ticked_on_any_page(
    client: Client, shop: LookMill
) -> None:
    client.force_login(User.objects.get())
    boxes, ticked = 0, set()
    for address in addresses(shop):
        html = client.get(address, follow=True).content.decode()
        for box in re.findall(r'<input[^>]*type="checkbox"[^>]*>', html):
            boxes += 1
            if re.search(r"\bchecked\b", box):
                name = re.search(r'name="([^"]*)"', box)
                assert name is not None, box
                ticked.add((address, name[1]))
    assert boxes > 60
    assert {one for one in ticked if one[1] not in CHOICES} == set()

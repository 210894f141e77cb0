"""A phone with a service worker, and the operator to whom it belongs."""

from __future__ import annotations

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.browser.offline.kept import PASSWORD
from tests.browser.program import MakeContext, SignIn
from tests.mills.log_shop import Shop
from wearlog.people.models import Mill, Role, User


@pytest.fixture
def shop(fresh_log: None) -> Shop:
    Mill.objects.create(name="Test mill", time_zone="Europe/Vienna", units="metric")
    return Shop()


@pytest.fixture
def ines(shop: Shop) -> User:
    return User.objects.create_user("ines", PASSWORD, name="Ines", role=Role.OPERATOR)


@pytest.fixture
def pocket(context_of: MakeContext) -> BrowserContext:
    return context_of(
        viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True, bypass_csp=True,
        service_workers="allow",
    )  # fmt: skip


@pytest.fixture
def page(pocket: BrowserContext, sign_in: SignIn, ines: User) -> Page:
    """Her phone, with her signed in."""
    opened = pocket.new_page()
    sign_in(opened, ines)
    return opened

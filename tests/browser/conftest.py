"""A real Chromium against a real server. `tests.requirements` leaves these tests out where there is none."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator

import pytest
from django.conf import settings
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page
from pytest_django.live_server_helper import LiveServer

from tests.browser.program import SignIn, chromium
from wearlog.history.models import LogVersion
from wearlog.people.models import User

# Playwright keeps an event loop in this thread; the tests' own queries are made from here all the same.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with chromium() as program:
        yield program


@pytest.fixture(scope="session")
def live_server() -> Iterator[LiveServer]:
    """A server whose threads have connections of their own, as the site's have.

    By default they would share the test's one connection to a database in memory. A thread that writes while
    another is still reading is refused there at once: "database table is locked".
    """
    server = LiveServer("localhost", start=False)
    server.thread.connections_override = {}
    server.start()
    yield server
    server.stop()


@pytest.fixture
def fresh_log(shared: None) -> None:
    """A log version of this test's own, so that nothing kept in memory from another test fits it."""
    LogVersion.objects.update_or_create(pk=1, defaults=dict.fromkeys(LogVersion.NUMBERS, time.time_ns()))


@pytest.fixture
def context_of(
    browser: Browser, live_server: LiveServer, fresh_log: None
) -> Iterator[Callable[..., BrowserContext]]:
    """Makes browser contexts on the server's address, and closes them."""
    made = []

    def make(**options: object) -> BrowserContext:
        # Where a machine is slow, the worker would show a page as it was: its own tests let it in.
        options = {"service_workers": "block", **options}
        context = browser.new_context(base_url=live_server.url, **options)  # type: ignore[arg-type]
        context.set_default_timeout(15_000)
        made.append(context)
        return context

    yield make
    for context in made:
        context.close()


@pytest.fixture
def page(context_of: Callable[..., BrowserContext]) -> Page:
    """A desk: 1280 by 900."""
    return context_of(viewport={"width": 1280, "height": 900}).new_page()


@pytest.fixture
def phone(context_of: Callable[..., BrowserContext]) -> Page:
    """A phone at the press: 360 by 740, touch."""
    return context_of(viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True).new_page()


@pytest.fixture
def sign_in(live_server: LiveServer) -> SignIn:
    """Signs a person in without the form: `sign_in(page, user)`."""

    def by_cookie(page: Page, user: User) -> None:
        client = Client()
        client.force_login(user)
        cookie = client.cookies[settings.SESSION_COOKIE_NAME]
        page.context.add_cookies(
            [{"name": settings.SESSION_COOKIE_NAME, "value": cookie.value, "url": live_server.url}]
        )

    return by_cookie

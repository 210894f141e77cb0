"""What a phone has to fetch to log a run, counted by the browser on the site as a mill runs it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from tests.browser.demo_site import running
from tests.browser.vitals import PAGES, vitals_of

KILOBYTE = 1000


@dataclass
class Fetched:
    """Bytes over the wire by kind of resource, headers included, as the browser counts them."""

    kinds: dict[str, str] = field(default_factory=dict)
    sizes: dict[str, float] = field(default_factory=dict)

    def of(self, *kinds: str) -> float:
        return sum(size for key, size in self.sizes.items() if not kinds or self.kinds.get(key) in kinds)

    @property
    def pages(self) -> int:
        return sum(1 for key in self.sizes if self.kinds.get(key) == "Document")


@pytest.fixture(scope="module")
def context(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[BrowserContext]:
    """A phone that has never opened the site, the owner signed in; what a service worker fetches on top in
    its own time isn't counted."""
    folder: Path = tmp_path_factory.mktemp("mill")
    with running(folder) as site:
        context = site.signed_in(
            browser,
            viewport={"width": 360, "height": 740},
            is_mobile=True,
            has_touch=True,
            service_workers="block",
        )
        yield context
        context.close()


def fetched(page: Page, address: str) -> Fetched:
    """What opening that address takes."""
    found = Fetched()
    session = page.context.new_cdp_session(page)
    session.on("Network.responseReceived", lambda said: found.kinds.update({said["requestId"]: said["type"]}))
    session.on(
        "Network.loadingFinished",
        lambda said: found.sizes.update({said["requestId"]: said["encodedDataLength"]}),
    )
    session.send("Network.enable")
    answer = page.goto(address, wait_until="networkidle")
    assert answer is not None
    assert answer.ok
    session.detach()
    assert found.pages == 1, "the page itself was counted"
    return found


def test_the_page_that_logs_a_run_weighs_little_and_less_the_second_time(context: BrowserContext) -> None:
    """The goals: at most 100 KB at first, 50 KB of it script, and 25 KB once the styles are known."""
    page = context.new_page()
    press = "/log/run/?press=1"
    first = fetched(page, press)
    assert first.of("Script") > 0
    assert first.of("Stylesheet") > 0
    assert first.of() <= 100 * KILOBYTE
    assert first.of("Script") <= 50 * KILOBYTE
    again = fetched(page, press)
    assert again.of() <= 25 * KILOBYTE
    # a phone that opened the day page knows the styles of the log page's neighbours too
    assert fetched(page, "/log/work/?press=1&action=polish").of() <= 25 * KILOBYTE
    page.close()


def test_the_first_page_of_the_day_weighs_little(context: BrowserContext) -> None:
    page = context.new_page()
    assert fetched(page, "/").of() <= 100 * KILOBYTE
    page.close()


@pytest.mark.parametrize("address", PAGES)
def test_nothing_jumps_while_a_page_loads_and_is_touched(address: str, context: BrowserContext) -> None:
    """Cumulative layout shift at most 0.1: a share of the window, not a time."""
    assert vitals_of(context, address, slow=False).cls <= 0.1

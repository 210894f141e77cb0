"""What a phone has kept of the pages, and waiting for it."""

from __future__ import annotations

from playwright.sync_api import Page

from tests.services import processes

KEPT = """async (address) => {
  for (const name of await caches.keys()) {
    if (name.startsWith("wearlog-pages-") && await (await caches.open(name)).match(address)) return true;
  }
  return false;
}"""


def see(page: Page, address: str) -> None:
    """Open the page with a network, and wait until it is kept."""
    page.goto(address)
    until(page, KEPT, address)
    until(page, KEPT, "/log/waiting/")


def until(page: Page, script: str, told: str = "") -> None:
    """Wait until the script, which may wait for the device's memory, answers with yes."""
    assert processes.until(lambda: page.evaluate(script, told), 15), f"{script} with {told!r}"

"""What a phone has kept of the pages, and waiting for it."""

from __future__ import annotations

from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.services import processes
from wearlog.people import sessions
from wearlog.people.models import User

PASSWORD = "cold-pressed-seed-9"

KEPT = """async (address) => {
  for (const name of await caches.keys()) {
    if (name.startsWith("wearlog-pages-") && await (await caches.open(name)).match(address)) return true;
  }
  return false;
}"""

NOTHING_KEPT = "async () => !(await caches.keys()).some((name) => name.startsWith('wearlog-pages-'))"


def see(page: Page, address: str) -> None:
    """Open the page with a network, and wait until it is kept."""
    page.goto(address)
    until(page, KEPT, address)
    until(page, KEPT, "/log/waiting/")


def until(page: Page, script: str, told: str = "") -> None:
    """Wait until the script, which may wait for the device's memory, answers with yes."""
    assert processes.until(lambda: page.evaluate(script, told), 15), f"{script} with {told!r}"


def kept_anywhere(page: Page) -> list[str]:
    """The paths of all that is kept, whoever it belongs to."""
    found: list[str] = page.evaluate(
        """async () => {
          const all = [];
          for (const name of await caches.keys()) {
            if (!name.startsWith("wearlog-pages-")) continue;
            const cache = await caches.open(name);
            for (const request of await cache.keys()) all.push(new URL(request.url).pathname);
          }
          return all.sort();
        }"""
    )
    return found


def by_password(page: Page, name: str) -> None:
    page.goto("/sign-in/")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").tap()
    expect(page.get_by_role("heading", name="Today")).to_be_visible()


def sign_out(page: Page) -> None:
    page.get_by_text("Set-up").tap()
    page.get_by_role("button", name="Sign out").tap()


def end_from_afar(person: User) -> None:
    assert sessions.end_all(by=person, at=timezone.now(), person=person) == 1

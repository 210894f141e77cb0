"""The site as a mill runs it (`quickstart`, nothing of the tests in it), in a process of its own.

    with running(folder, day=date(2026, 3, 4)) as site: ...

`day` sets the site's clock to that morning; without it the site has the machine's. `large` fills it with
twenty presses and ten years of runs instead of the demo mill.
"""

from __future__ import annotations

import argparse
import os
import re
import secrets
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, StorageState

from tests import migrated
from tests.services.servers import free_port

ROOT = Path(__file__).resolve().parents[2]
WAIT_SECONDS = 600
MORNING = 7
"""The hour, UTC, to which a set clock begins."""


@dataclass
class Site:
    """Where it is, the link that signs its owner in once, and the cookies of a browser in which it did."""

    url: str
    link: str
    cookies: StorageState | None = None

    def signed_in(self, browser: Browser, **options: object) -> BrowserContext:
        """A context of its own with nothing in its cache, in which the owner is signed in."""
        if self.cookies is None:
            first = browser.new_context(service_workers="block")
            page = first.new_page()
            page.goto(self.link)
            page.locator("main form button").click()
            page.wait_for_url(f"{self.url}/")
            self.cookies = first.storage_state()
            first.close()
        return browser.new_context(base_url=self.url, storage_state=self.cookies, **options)  # type: ignore[arg-type]


@contextmanager
def running(folder: Path, *, day: date | None = None, large: bool = False) -> Iterator[Site]:
    """Serves the site from that folder to the end of the block; raises RuntimeError where it fails."""
    port = free_port()
    command = [sys.executable, "-m", "tests.browser.demo_site", "--port", str(port)]
    command += ["--day", day.isoformat()] if day else []
    command += ["--large"] if large else []
    surroundings = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    surroundings |= {"DATA_DIR": str(folder), "DJANGO_SETTINGS_MODULE": "wearlog.config.settings"}
    surroundings |= {"HTTPS": "off", "DEBUG": "0", "SECRET_KEY": secrets.token_urlsafe(48)}
    surroundings |= {"ALLOWED_HOSTS": "127.0.0.1", "PYTHONUNBUFFERED": "1"}
    for name in ("DATABASE_URL", "REDIS_URL", "SITE_URL"):
        surroundings.pop(name, None)
    log = folder / "site.log"
    folder.mkdir(parents=True, exist_ok=True)
    if not (folder / "wearlog.sqlite3").exists():
        migrated.lay(folder / "wearlog.sqlite3")
    with log.open("w") as said:
        process = subprocess.Popen(command, cwd=ROOT, env=surroundings, stdout=said, stderr=said)
        try:
            link = _printed_link(log, process)
            yield Site(url=f"http://127.0.0.1:{port}", link=link)
        finally:
            process.terminate()
            process.wait(30)


def _printed_link(log: Path, process: subprocess.Popen[bytes]) -> str:
    until = time.monotonic() + WAIT_SECONDS
    while time.monotonic() < until and process.poll() is None:
        if found := re.search(r"http\S+/sign-in/\S+", log.read_text()):
            return found.group(0)
        time.sleep(0.2)
    raise RuntimeError(f"The site did not start:\n{log.read_text()[-3000:]}")


def main() -> None:
    import django
    from django.core.management import call_command
    from django.utils import timezone

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--day", type=date.fromisoformat)
    parser.add_argument("--large", action="store_true")
    given = parser.parse_args()
    django.setup()
    if given.day:
        begun = time.monotonic()
        morning = datetime(given.day.year, given.day.month, given.day.day, MORNING, tzinfo=UTC)
        timezone.now = lambda: morning + timedelta(seconds=time.monotonic() - begun)
    if given.large:
        from tests.mills import large_mill
        from wearlog.people.models import Mill

        call_command("migrate", verbosity=0)
        if not Mill.objects.exists():
            large_mill.build()
    call_command("quickstart", port=given.port)


if __name__ == "__main__":
    main()

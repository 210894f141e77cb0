"""The site's pages as a real process, and somebody who is signed in and logs runs."""

from __future__ import annotations

import re
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.parse import urlencode

from tests.services.processes import MILL, end, run, start, until
from tests.services.servers import free_port


@dataclass
class Visitor:
    """Keeps cookies and sends forms as a browser does."""

    site: str

    def __post_init__(self) -> None:
        self.cookies = CookieJar()
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(self.cookies))

    def get(self, path: str) -> str:
        with self.opener.open(self.site + path, timeout=60) as answer:
            page: str = answer.read().decode()
            return page

    def health(self) -> int:
        """The status of the page for watchers."""
        try:
            with self.opener.open(f"{self.site}/healthz", timeout=60) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            return int(error.code)

    def send(self, path: str, **typed: str) -> str:
        """Open the page, fill its form in, press its button; the page that follows."""
        before = self.get(path)
        hidden = dict(re.findall(r'<input type="hidden" name="([\w-]+)" value="([^"]*)"', before))
        body = urlencode(hidden | typed).encode()
        with self.opener.open(self.site + path, data=body, timeout=60) as answer:
            page: str = answer.read().decode()
            return page

    def log_a_run(self, press: str = "1", crop: str = "1") -> float:
        """Opens the page, sends two numbers; how many seconds both took together."""
        begun = time.monotonic()
        self.send(
            f"/log/run/?press={press}", press=press, crop=crop, seed="350", seed_unit="kg", hours_h="7.5"
        )
        return time.monotonic() - begun


@contextmanager
def pages(environment: dict[str, str], folder: Path) -> Iterator[Visitor]:
    """The pages, served until the block ends, and their operator."""
    port = free_port()
    command = [
        sys.executable,
        "-m",
        "waitress",
        f"--listen=127.0.0.1:{port}",
        "wearlog.config.wsgi:application",
    ]
    process: subprocess.Popen[bytes] = start(command, environment, folder / "pages.log")
    try:
        visitor = Visitor(f"http://127.0.0.1:{port}")
        assert until(lambda: answers(visitor, process), 60), (folder / "pages.log").read_text()
        visitor.send(f"/sign-in/{run([*MILL, 'link'], environment).strip()}/")
        yield visitor
    finally:
        end(process)


def answers(visitor: Visitor, process: subprocess.Popen[bytes]) -> bool:
    assert process.poll() is None, "the pages' process has ended"
    try:
        return "<form" in visitor.get("/sign-in/")
    except OSError:
        return False

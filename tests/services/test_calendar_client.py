"""Calendar programs that others wrote read the calendar over http: vdirsyncer fetches, khal shows.

They run as programs of their own beside the site's pages, which are a real process, too.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import urllib.error
import urllib.request
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.reminders.smtp import MailServer
from tests.services.pages import Visitor, pages
from tests.services.processes import MILL, fill, run, surroundings

PROGRAMS = Path(sys.executable).parent
PRESSES, RULES = 3, 2
EVERY = timedelta(days=30)


@dataclass
class CalendarProgram:
    """vdirsyncer and khal with a folder, a cache and settings of their own."""

    folder: Path
    url: str

    def __post_init__(self) -> None:
        self.folder.mkdir()
        (self.folder / "fetched").mkdir()
        (self.folder / "vdirsyncer").write_text(
            f'''[general]
status_path = "{self.folder}/status"
[pair mill]
a = "site"
b = "here"
collections = null
conflict_resolution = "a wins"
[storage site]
type = "http"
url = "{self.url}"
[storage here]
type = "filesystem"
path = "{self.folder}/fetched"
fileext = ".ics"
'''
        )
        (self.folder / "khal").write_text(
            f"""[calendars]
[[mill]]
path = {self.folder}/fetched
readonly = True
[sqlite]
path = {self.folder}/khal.db
[locale]
local_timezone = Europe/Vienna
default_timezone = Europe/Vienna
dateformat = %Y-%m-%d
longdateformat = %Y-%m-%d
datetimeformat = %Y-%m-%d %H:%M
longdatetimeformat = %Y-%m-%d %H:%M
timeformat = %H:%M
"""
        )
        self._run("vdirsyncer", "-c", str(self.folder / "vdirsyncer"), "discover", "mill")

    def _run(self, program: str, *words: str) -> str:
        surroundings = os.environ | {"HOME": str(self.folder), "XDG_CACHE_HOME": str(self.folder / "cache")}
        done = subprocess.run(
            [str(PROGRAMS / program), *words],
            env=surroundings,
            capture_output=True,
            text=True,
            input="y\n",
            timeout=120,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def fetch(self) -> None:
        self._run("vdirsyncer", "-c", str(self.folder / "vdirsyncer"), "sync", "mill")

    def shows(self, begin: str, days: int) -> list[tuple[str, str]]:
        """Day and title of every event that khal lists, in its order."""
        listed = self._run(
            "khal", "-c", str(self.folder / "khal"), "list", "--day-format", "", "--format",
            "{start-date}\t{title}", begin, f"{days}d",
        )  # fmt: skip
        return sorted(tuple(line.split("\t")) for line in listed.splitlines() if line)  # type: ignore[misc]

    def description(self, begin: str) -> str:
        return self._run(
            "khal", "-c", str(self.folder / "khal"), "list", "--day-format", "", "--format",
            "{description}", begin, "1d",
        )  # fmt: skip


@pytest.fixture(scope="module")
def mail() -> MailServer:
    """Nothing is sent here: a port that nobody listens on."""
    return MailServer(port=9)


@pytest.fixture
def site(mail: MailServer, tmp_path: Path) -> dict[str, str]:
    environment = surroundings(f"sqlite:///{tmp_path}/mill.sqlite3", mail, tmp_path)
    fill(environment, presses=PRESSES, rules=RULES)
    return environment


def scan(environment: dict[str, str]) -> None:
    run([*MILL, "wake"], environment)


def visit_calendar(visitor: Visitor, **typed: str) -> str:
    """Make an address on the page, as a person does."""
    page = visitor.send("/me/calendar/", **typed)
    (link,) = re.findall(r"<code>(http://[^<]+\.ics)</code>", page)
    return str(link)


def test_two_programs_that_others_wrote_see_one_event_for_each_task_and_follow_the_log(
    site: dict[str, str], tmp_path: Path
) -> None:
    """Last looked after on 1 January 2025, every 30 days: 31 January 2025, three presses, two rules."""
    scan(site)
    with pages(site, tmp_path) as visitor:
        link = visit_calendar(visitor)
        program = CalendarProgram(tmp_path / "program", link)
        due = sorted(
            ("2025-01-31", f"Inspect P{press:03} (look {rule})")
            for press in range(PRESSES)
            for rule in range(RULES)
        )
        for _time in range(2):
            program.fetch()
            assert program.shows("2024-01-01", 1200) == due
        assert len(list((tmp_path / "program/fetched").iterdir())) == PRESSES * RULES
        told = program.description("2025-01-31")
        assert told.count("Isolation points:") == PRESSES * RULES
        for press in range(PRESSES):
            assert f"Main motor (electrical): isolate at Q-P{press:03}" in told

        begun = datetime.now(UTC).date()
        visitor.send("/log/work/?press=1&action=inspect&rule=1")
        ended = datetime.now(UTC).date()  # the mill's zone is UTC, and midnight may have passed
        scan(site)
        program.fetch()
        shown = program.shows("2024-01-01", 1200)
        assert shown in [
            sorted([*due[1:], (f"{day}", f"Done: {due[0][1]}"), (f"{day + EVERY}", due[0][1])])
            for day in (begun, ended)
        ]


def test_a_program_that_has_the_calendar_fetches_it_anew_only_when_it_changed(
    site: dict[str, str], tmp_path: Path
) -> None:
    scan(site)
    with pages(site, tmp_path) as visitor:
        link = visit_calendar(visitor, press="1")
        status, etag, body = read(link)
        assert (status, body.count(b"BEGIN:VEVENT")) == (200, RULES)
        scan(site)
        assert read(link, etag) == (304, etag, b"")
        visitor.send("/log/work/?press=1&action=inspect&rule=1")
        scan(site)
        status, newer, body = read(link, etag)
        assert (status, body.count(b"BEGIN:VEVENT")) == (200, RULES + 1)
        assert read(link, newer) == (304, newer, b"")


def read(link: str, etag: str = "") -> tuple[int, str, bytes]:
    """Status, ETag and body."""
    request = urllib.request.Request(link, headers={"If-None-Match": etag} if etag else {})
    try:
        with urllib.request.urlopen(request, timeout=60) as answer:
            return answer.status, answer.headers["ETag"], answer.read()
    except urllib.error.HTTPError as error:
        return error.code, error.headers["ETag"], error.read()

"""Nobody gets a task from Wearlog without its caution and the isolation points of its press.

The walk opens every address of the site as every role, follows every link, reads every mail, the terminal's
table, JSON and CSV. The second half takes the caution out, place by place, and sees the walk fail.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.conf import settings as site
from django.core import mail
from django.core.mail import EmailMultiAlternatives
from django.core.management import call_command
from django.test import Client
from django.urls import resolve, reverse
from django.utils import timezone
from pytest_django import Settings

from tests.architecture.outputs import (
    NUMBERED,
    SAMPLES,
    Output,
    lacking,
    own_patterns,
    pages,
    shows,
    squeezed,
)
from tests.mills.everything_due import fill, fill_quietly
from wearlog.equipment.models import Kind
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import due_items
from wearlog.lockout.cautions import text as lockout_text
from wearlog.lockout.cautions.caution import Caution
from wearlog.logbook.models import ImportJob
from wearlog.people.models import Mill, Role, User
from wearlog.reminders.models import OutboxRow
from wearlog.reminders.outbox.actions import scan, send_due
from wearlog.service.models import Action

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def items(transactional_db: None) -> list[DueItem]:
    fill(timezone.now())
    ImportJob.objects.create(
        file="none",
        name="old years.zip",
        by=User.objects.get(role=Role.OWNER),
        asked_at=timezone.now(),
        only_check=True,
    )
    return due_items(as_of=timezone.now().astimezone(Mill.current().zone).date())


def test_the_mill_of_the_walk_has_every_kind_of_item(items: list[DueItem]) -> None:
    assert {item.action for item in items} == set(Action.values)
    assert {item.kind for item in items} >= set(Kind.values)
    assert {item.trigger for item in items} >= {"hours", "tonnes", "days", "season", "limit", "incident"}
    assert {item.state for item in items} >= {"overdue", "due", "coming"}
    assert {bool(item.caution.isolation_points) for item in items} == {True, False}
    assert any(item.fitting_id is None and item.part_id for item in items), "a part that lies off the press"
    assert len({squeezed(item.why) for item in items}) == len(items), "the walk tells items by their sentence"


# -------- pages


NO_PAGES = {
    "web:sign-in", "web:person-link", "web:export", "web:after", "web:job-card-pdf", "web:labels-pdf",
    "web:lock-confirm", "web:lock-told", "web:in-use", "web:person-devices", "web:import-cancel",
    "web:import-problems", "web:part-life-pdf", "web:season-report-pdf",
    "web:mail-address-clear", "web:webhook-test", "web:webhook-renew",
    "web:calendar-end", "web:calendar-feed", "web:health", "authority", "web:photo", "web:photo-small",
    "web:photo-delete",
    "look:look",
}  # fmt: skip
"""They lead a signed-in person elsewhere, take a POST only, or answer with an archive, a photo, or the PDF
of a page that is walked (`tests/web/printing/test_cards_as_pdf.py` reads the caution in it); the page of the
look is there for developers alone, who meet it in `tests/browser/test_look_page.py`."""


@pytest.mark.parametrize("role", Role.values)
def test_every_page_that_shows_a_task_shows_its_caution(items: list[DueItem], role: str) -> None:
    # The owner, who may open everything, comes by every part of the mill; a role changes kinds of pages.
    numbered = NUMBERED if role == Role.OWNER else SAMPLES
    opened = list(pages(User.objects.get(role=role), numbered=numbered))
    assert [problem for output in opened for problem in lacking(output, items)] == []
    reached = {resolve(urlsplit(output.name.partition(" as ")[0]).path).view_name for output in opened}
    assert {"web:day", "web:forecast", "web:job-card", "web:press", "web:part"} <= reached
    assert [item.rule for item in items if not any(shows(output, item) for output in opened)] == []
    if role == Role.OWNER:  # who may open everything: a page added later is walked, or this asks how
        assert {name for name, _pattern in own_patterns()} - reached == NO_PAGES


def test_the_job_page_that_a_reminder_opens_shows_the_caution(items: list[DueItem]) -> None:
    client = Client()
    client.force_login(User.objects.get(role=Role.OPERATOR))
    for item in items:
        query: dict[str, Any] = {"press": item.press_id, "action": item.action, "rule": item.rule_id}
        if item.fitting_id:
            query["fitting"] = item.fitting_id
        page = client.get(reverse("web:work-new"), query, follow=True)
        assert page.status_code == 200
        words = Output.of_html("", page.content.decode()).words
        assert item.caution.signal_word in words, item
        for line in ("can start by itself", *item.caution.isolation_points):
            assert line in words, item
        if not item.caution.isolation_points:
            assert "No isolation points are recorded for this press" in words, item


def test_a_day_on_which_nothing_is_due_names_the_next_task_with_its_caution(transactional_db: None) -> None:
    now = timezone.now()
    fill_quietly(now)
    (item,) = due_items(as_of=now.astimezone(Mill.current().zone).date())
    assert item.state == "later"
    client = Client()
    client.force_login(User.objects.get())
    page = Output.of_html("the quiet day", client.get(reverse("web:day")).content.decode())
    assert shows(page, item)
    assert lacking(page, [item]) == []


# -------- mails


def mails() -> list[tuple[EmailMultiAlternatives, OutboxRow]]:
    """Every reminder that the mill of the walk calls for, as it would leave the house."""
    mail.outbox = []
    now = timezone.now()
    assert scan(at=now) > 0
    assert send_due(at=now, limit=10_000).to_retry == 0
    rows = {row.message_id: row for row in OutboxRow.objects.all()}
    found = []
    for message in mail.outbox:
        assert isinstance(message, EmailMultiAlternatives)
        found.append((message, rows[message.extra_headers["Message-ID"]]))
    return found


def problems_of_mails(items: list[DueItem]) -> list[str]:
    problems = []
    for message, row in mails():
        (item,) = [each for each in items if is_of(each, row)]
        ((html, _kind),) = message.alternatives
        for output in (
            Output.of_text(f"text of {message.subject}", str(message.body)),
            Output.of_html(f"HTML of {message.subject}", str(html)),
        ):
            assert squeezed(item.why) in output.words
            problems += lacking(output, [item])
    return problems


def is_of(item: DueItem, row: OutboxRow) -> bool:
    return all(row.item[name] == getattr(item, name) for name in ("rule_id", "press_id", "part_id", "edge"))


def test_every_mail_shows_the_caution_in_text_and_html(items: list[DueItem]) -> None:
    assert problems_of_mails(items) == []
    told = [item for item in items if item.state in ("coming", "due", "overdue")]
    assert len(told) > 40
    assert len(mail.outbox) == 3 * len(told), "operator, maintainer and owner"


# -------- terminal and files


def printed(form: str) -> str:
    out = io.StringIO()
    call_command("forecast", "--format", form, stdout=out)
    return out.getvalue()


def problems_of_table(items: list[DueItem]) -> list[str]:
    """The table tells the cautions of a press once, below its tasks."""
    output = Output.of_text("forecast as a table", printed("table"))
    assert all(shows(output, item) for item in items)
    return lacking(output, items, each=False)


def test_the_table_in_the_terminal_shows_every_caution(items: list[DueItem]) -> None:
    assert problems_of_table(items) == []


def test_each_item_of_the_json_carries_its_caution(items: list[DueItem]) -> None:
    data = json.loads(printed("json"))["items"]
    assert len(data) == len(items)
    for row, item in zip(data, items, strict=True):
        assert row["why"] == item.why
        assert item.caution.text in row["caution"]
        assert item.caution.signal_word in row["caution"]
        assert row["isolation_points"] == list(item.caution.isolation_points)


def test_each_row_of_the_csv_carries_its_caution(items: list[DueItem]) -> None:
    rows = list(csv.DictReader(io.StringIO(printed("csv"))))
    assert len(rows) == len(items)
    for row, item in zip(rows, items, strict=True):
        assert row["why"] == item.why
        assert item.caution.text in row["caution"]
        assert all(point in row["isolation_points"] for point in item.caution.isolation_points)


# -------- the walk would notice


def templates_with_caution() -> list[str]:
    """Every template that shows a task's caution, by the name it is loaded under."""
    found = []
    for path in sorted((ROOT / "wearlog").glob("**/templates/**/*")):
        if path.is_file() and re.search(r"\{% caution (item|frame)\.caution", path.read_text()):
            found.append(str(path.relative_to(next(p for p in path.parents if p.name == "templates"))))
    return found


@pytest.fixture
def without_caution(settings: Settings) -> Callable[[str], None]:
    """`without_caution(name)` renders that template without its `{% caution %}` from then on."""

    def take_out(name: str) -> None:
        (path,) = (ROOT / "wearlog").glob(f"**/templates/{name}")
        mutant = re.sub(r"\{% caution [^%]*%\}", "", path.read_text())
        assert mutant != path.read_text()
        (engine,) = site.TEMPLATES
        loaders = [
            ("django.template.loaders.locmem.Loader", {name: mutant}),
            "django.template.loaders.filesystem.Loader",
            "django.template.loaders.app_directories.Loader",
        ]
        options = engine["OPTIONS"] | {"loaders": loaders}
        settings.TEMPLATES = [engine | {"APP_DIRS": False, "OPTIONS": options}]

    return take_out


def test_there_are_templates_to_take_it_out_of() -> None:
    assert {"web/site/parts/due_item.html", "web/site/parts/press_frame.html"} <= set(
        templates_with_caution()
    )


@pytest.mark.parametrize("name", templates_with_caution())
def test_a_page_without_its_caution_makes_the_walk_fail(
    items: list[DueItem], without_caution: Callable[[str], None], name: str
) -> None:
    without_caution(name)
    seen = pages(User.objects.get(role=Role.MAINTAINER), begin=[reverse("web:forecast")])
    assert any(lacking(output, items) for output in seen)


def test_a_panel_without_isolation_points_makes_the_walk_fail(
    items: list[DueItem], monkeypatch: pytest.MonkeyPatch
) -> None:
    from wearlog.lockout.templatetags import lockout

    def pointless(caution: Caution) -> Caution:
        return Caution(caution.signal_word, caution.text, ())

    monkeypatch.setattr(lockout, "demand", pointless)
    client = Client()
    client.force_login(User.objects.get(role=Role.OPERATOR))
    page = Output.of_html("/", client.get(reverse("web:day")).content.decode())
    assert any("disconnect Q1" in problem for problem in lacking(page, items))


def test_a_mail_without_its_caution_makes_the_walk_fail(
    items: list[DueItem], without_caution: Callable[[str], None]
) -> None:
    without_caution("reminders/mail/task.html")
    problems = problems_of_mails(items)
    assert problems
    assert all(problem.startswith("HTML of") for problem in problems)


def test_plain_text_without_its_caution_makes_the_walk_fail(
    items: list[DueItem], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lockout_text, "caution_as_text", lambda caution, width=None: "Mind the screw.")
    assert any(problem.startswith("text of") for problem in problems_of_mails(items))


def test_a_table_without_its_caution_makes_the_walk_fail(
    items: list[DueItem], monkeypatch: pytest.MonkeyPatch
) -> None:
    from wearlog.words import printing

    monkeypatch.setattr(printing, "caution_as_text", lambda caution, width=None: "Mind the screw.")
    assert problems_of_table(items)

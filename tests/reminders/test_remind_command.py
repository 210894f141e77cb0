"""`manage.py remind`."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from pytest_django import Settings

from tests.mills.greasing import Greasing
from tests.mills.wishes import any_hour
from tests.reminders.smtp import MailServer
from wearlog.people.models import Mill, User


def remind(*arguments: str) -> str:
    out = StringIO()
    call_command("remind", *arguments, stdout=out)
    return out.getvalue().splitlines()[-1]


def test_it_queues_sends_and_says_so_and_a_second_run_sends_nothing(
    greasing: Greasing, operator: User, owner: User, smtp: MailServer
) -> None:
    any_hour(operator, owner)
    assert remind() == "Reminders: 2 queued, 2 sent, 0 to try again, 0 given up, 0 withdrawn."
    assert remind() == "Reminders: 0 queued, 0 sent, 0 to try again, 0 given up, 0 withdrawn."
    assert len(smtp.mails) == 2


def test_it_prints_the_mail_where_no_server_is_named(
    greasing: Greasing, operator: User, settings: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
    remind("--as-of-now", "2026-04-01T10:00:00+02:00")
    shown = capsys.readouterr().out
    assert "Subject: Due: Lubricate North press (grease bearing)" in shown
    assert "To: operator@mill.example" in shown
    assert "WARNING: The screw can start by itself" in shown


def test_the_instant_is_read_in_the_mills_zone(greasing: Greasing, operator: User) -> None:
    """24 March 2026 is the first day of the lead time; without an offset it is Vienna's midnight."""
    any_hour(operator)
    assert remind("--as-of-now", "2026-03-23T23:59").startswith("Reminders: 0 queued")
    assert remind("--as-of-now", "2026-03-24T00:00").startswith("Reminders: 1 queued, 1 sent")


def test_an_empty_mill_has_nothing_to_say(mill: Mill, operator: User) -> None:
    assert remind() == "Reminders: 0 queued, 0 sent, 0 to try again, 0 given up, 0 withdrawn."


def test_an_instant_that_is_none_is_refused_with_an_example(db: None) -> None:
    with pytest.raises(CommandError, match="write it as in 2026-05-01T06:30:00"):
        remind("--as-of-now", "tomorrow")

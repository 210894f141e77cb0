"""What a reminder says, and how it reads."""

from __future__ import annotations

import dataclasses
import re
from datetime import date

import pytest
from django.core.mail import EmailMultiAlternatives
from pytest_django import Settings

from tests.reminders.channels.mail.mails import ITEM, MADE_AT, html_of, mail_of
from wearlog.reminders.channels.mail.links import JobLink, read_job
from wearlog.reminders.channels.mail.sending import message_id


def both(mail: EmailMultiAlternatives) -> list[str]:
    """The words of either part on one line, without markup and entities."""
    plain = re.sub(r"<style>.*?</style>|<[^>]+>", " ", html_of(mail), flags=re.DOTALL)
    plain = plain.replace("&#x27;", "'").replace("&amp;", "&")
    return [" ".join(str(mail.body).split()), " ".join(plain.split())]


def test_the_subject_names_stage_work_part_and_press() -> None:
    assert mail_of().subject == "Coming up: Replace die D-07, edge B · North press (die limit)"


@pytest.mark.parametrize(
    "words",
    [
        "Why: Edge B has worn 0.31 of 0.40 mm after 27 t; 8.4 t left.",
        "When: about 3 September 2026, between 27 August 2026 and 12 September 2026.",
        "Bring: your own lock and tag for each person: 2 locks; gloves, a thermometer; spanners for the "
        "head, a soft drift; pin gauges or a bore gauge; food-grade anti-seize for threads; the "
        "new die, 6.00 mm",
        "Heat the head first. Mind the thread.",
        "WARNING",
        "The screw can start by itself. Try the start before you touch anything.",
        "Isolation points",
        "Main motor (electrical): isolate at Q1",
        "Heater (heat): isolate at Q2",
    ],
)
def test_text_and_html_both_say_reason_time_what_to_bring_and_the_caution(words: str) -> None:
    for shown in both(mail_of()):
        assert words in shown


def test_both_parts_hold_the_link_to_the_job(settings: Settings) -> None:
    settings.SITE_URL = "https://wearlog.mill.example"
    mail = mail_of()
    (link,) = re.findall(r"Open the job:\s+(\S+)", str(mail.body))
    assert link.startswith("https://wearlog.mill.example/mail/job/")
    assert f'href="{link}"' in html_of(mail)
    token = link.removeprefix("https://wearlog.mill.example/mail/job/").removesuffix("/")
    assert read_job(token, on=MADE_AT.date()) == JobLink(5, 3, 1, "part 7 B")


def test_sizes_are_told_in_the_units_of_whoever_reads() -> None:
    for shown in both(mail_of(units="us")):
        assert "0.2362 in" in shown  # 6 mm / 25.4, NIST SP 811


def test_a_task_without_a_day_says_so_and_keeps_its_reason() -> None:
    for shown in both(mail_of(dataclasses.replace(ITEM, due_on=None, early_on=None, late_on=None))):
        assert "When: as soon as it fits." in shown
        assert "Why: Edge B" in shown


def test_a_single_day_is_told_without_a_range() -> None:
    day = date(2026, 3, 31)
    for shown in both(mail_of(dataclasses.replace(ITEM, due_on=day, early_on=day, late_on=day))):
        assert "When: 31 March 2026." in shown


def test_a_name_with_line_breaks_or_markup_breaks_neither_header_nor_page() -> None:
    mail = mail_of(dataclasses.replace(ITEM, rule="x\r\nBcc: all@mill.example", part="<b>D</b>"))
    assert mail.subject == "Coming up: Replace die <b>D</b>, edge B · North press (x Bcc: all@mill.example)"
    assert "<b>D</b>" not in html_of(mail)
    assert "&lt;b&gt;D&lt;/b&gt;" in html_of(mail)
    assert mail.message()["Bcc"] is None


def test_the_message_id_follows_from_the_key_alone(settings: Settings) -> None:
    settings.SITE_URL = "https://wearlog.mill.example"
    assert message_id("ab" * 32) == f"<{'ab' * 20}@wearlog.mill.example>"
    settings.SITE_URL = "http://[::1]:8000"  # colons have no place in it (RFC 5322, 3.6.4)
    assert message_id("ab" * 32) == f"<{'ab' * 20}@wearlog.invalid>"
    assert mail_of().message()["Message-ID"].startswith("<aaaa")


def test_the_mail_says_that_a_machine_wrote_it() -> None:
    """RFC 3834, section 5: so that no holiday answer comes back."""
    assert mail_of().message()["Auto-Submitted"] == "auto-generated"


def test_lines_fit_a_phone_or_wrap_and_nothing_is_fetched_from_elsewhere() -> None:
    mail = mail_of()
    assert all(len(line) <= 76 or "http" in line for line in str(mail.body).splitlines())
    html = html_of(mail)
    assert 'name="viewport"' in html
    assert "<img" not in html
    assert "<script" not in html
    assert "url(" not in html

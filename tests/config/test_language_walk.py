"""Every page, mail and calendar in a made-up language, in which each text stands in brackets: what stands
outside of them is data, a number, a unit's symbol, or a text that nobody can translate."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import django
import pytest
from django.core import mail
from django.core.mail import EmailMultiAlternatives
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import Settings

from tests.browser.addresses import addresses
from tests.config import catalogues
from tests.config.pages_read import Reader, data_of_the_mill, letters_in, outside, untranslated
from tests.mills.everything_due import fill
from tests.mills.log_shop import form_of
from tests.mills.look_mill import LookMill
from tests.mills.whole_mill import whole_mill
from wearlog.history import versions
from wearlog.people.models import Mill, Role, User
from wearlog.reminders.outbox.actions import scan, send_due

EXEMPT = re.compile(
    r"""
      \b(?:kg|g|t|lb|h|mm|in|min|s|Hz|kWh|kW|V|MB)\b | °[CF]   # symbols of units
    | \b[A-D]\b                                                # edges
    | \bWearlog\b | \bEnglish\b | \bXx\b                       # the program; languages by their own names
    | \bA4\b | \bLetter\b                                      # sizes of paper
    | \b[A-Z][A-Za-z]+/[\w/+-]+ | \b(?:UTC|GMT|EST|MST|HST|CET|MET|EET|WET)\b   # time zones
    | \b[a-z]+(?:_[a-z]+)+\b                                   # names of fields, for scripts
    | \b\d+-[0-9A-Z]{5}\b | \b[A-Z0-9]*\d[A-Z0-9]*\b        # marks of cautions, short codes
    | \b[PMT][234679ACDEFGHJKMNPRTWXY]{3}\b                    # codes to scan: some have no digit
    | \bhttps?://\S+ | \S+@\S+                                 # addresses
    """,
    re.VERBOSE,
)
NOT_FOLLOWED = {"/log/after/"}
"""It leads on to what was logged last, and there is nothing to read on it."""

ZONES = re.compile(r'<select name="time_zone".*?</select>', re.DOTALL)
"""Hundreds of names that belong to no language."""


@pytest.fixture
def fresh_log(transactional_db: None) -> None:
    versions.touch()


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    return whole_mill()


@pytest.fixture(scope="session")
def made_up(xgettext: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the catalogue of the language `xx`: our own texts, and those of Django."""
    found = catalogues.entries(catalogues.gathered(tmp_path_factory.mktemp("source")))
    for app in ("conf", "contrib/auth", "contrib/humanize"):
        path = Path(django.__file__).parent / app / "locale" / "en" / "LC_MESSAGES" / "django.po"
        found += catalogues.entries(path)
    folder = tmp_path_factory.mktemp("made")
    (folder / "xx" / "LC_MESSAGES").mkdir(parents=True)
    catalogue = catalogues.compiled(catalogues.wrapped(found))
    (folder / "xx" / "LC_MESSAGES" / "django.mo").write_bytes(catalogue)
    return folder


@pytest.fixture
def speaking(made_up: Path, settings: Settings) -> None:
    settings.LOCALE_PATHS = [made_up]
    settings.LANGUAGES = [("en", "English"), ("xx", "Xx")]


def signed_in(person: User) -> Client:
    client = Client()
    client.force_login(person)
    return client


def pages(shop: LookMill, client: Client) -> Iterator[tuple[str, str]]:
    for address in addresses(shop):
        if address in NOT_FOLLOWED:
            continue
        answer = client.get(address)
        assert answer.status_code == 200, address
        yield address, answer.content.decode()


def test_every_text_of_every_page_can_be_translated(speaking: None, shop: LookMill) -> None:
    client = signed_in(User.objects.get())
    for address in ("/", "/due/", "/presses/"):  # what is remembered in English is not shown to others
        client.get(address)
    Mill.objects.update(language="xx")
    address = f"/log/work/{shop.screw.services.get().pk}/correct/"
    form = form_of(client.get(address).content.decode())
    corrected = client.post(address, {**form, "finding": "varnish", "labour_h": "1,5", "reason": "misread"})
    assert corrected.status_code == 302
    # What was corrected stands in the trail; what is wrong with a file is told in its words and columns.
    data = ["varnish on flight 3", "runs.csv, line 2: much.", "runs.csv, seed_kg: 812", *data_of_the_mill()]
    left = {}
    for address, html in pages(shop, client):
        assert '<html lang="xx">' in html, address
        for text in untranslated(ZONES.sub("", html), data=data, exempt=EXEMPT):
            left.setdefault(" ".join(text.split()), address)
    assert left == {}


def test_every_text_of_the_pages_for_those_who_are_not_signed_in_can_be_translated(
    speaking: None, shop: LookMill
) -> None:
    Mill.objects.update(language="xx")
    data = data_of_the_mill()
    for address in (reverse("web:sign-in"), "/sign-in/no-such-secret/", "/nowhere/"):
        html = Client().get(address).content.decode()
        assert untranslated(html, data=data, exempt=EXEMPT) == [], address


def test_every_text_of_every_mail_can_be_translated(speaking: None, transactional_db: None) -> None:
    now = timezone.now()
    fill(now)
    User.objects.exclude(role=Role.OPERATOR).update(gets_mail=False)
    User.objects.filter(role=Role.OPERATOR).update(language="xx")  # the mill's is English
    data = data_of_the_mill()
    mail.outbox = []
    assert scan(at=now) > 0
    assert send_due(at=now, limit=10_000).to_retry == 0
    assert len(mail.outbox) > 20
    left = set()
    for message in mail.outbox:
        assert isinstance(message, EmailMultiAlternatives)
        ((html, _kind),) = message.alternatives
        left |= set(untranslated(str(html), data=data, exempt=EXEMPT))
        for text in outside([str(message.subject)]) + outside([str(message.body)]):
            if letters_in(text, data=data, exempt=EXEMPT):
                left.add(text)
    assert left == set()


def test_the_walk_finds_what_stands_outside(speaking: None) -> None:
    html = '<p>⟦Due ⟦soon⟧⟧ 3 kg</p><p>Due</p><img alt="a die"><p>⟦one <b>bold⟧</b> D5-01</p>'
    assert untranslated(html, data=["D5-01"], exempt=EXEMPT) == ["Due", "a die"]
    reader = Reader()
    reader.feed("<script>let words</script><p>⟦a⟧</p>")
    assert outside(reader.texts) == []

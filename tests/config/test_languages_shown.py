"""Numbers, days and inputs in German, French and English; who reads which language."""

from __future__ import annotations

import io
import re
import zipfile
from datetime import UTC, date, datetime
from decimal import Decimal
from html.parser import HTMLParser
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import translation

from tests.browser.addresses import addresses
from tests.config.pages_read import Reader as Page
from tests.mills.log_shop import form_of
from tests.mills.look_mill import LookMill
from tests.mills.whole_mill import whole_mill
from wearlog.calc import units
from wearlog.forecasts.memory.refresh import languages
from wearlog.history import versions
from wearlog.people.languages import language_of, language_of_browser
from wearlog.people.models import Mill, Role, User
from wearlog.people.words import day, figure, when
from wearlog.runs.models import Reading
from wearlog.web.site.fields import HoursField, LengthField, MassField, NumberField, Reader

VIENNA = ZoneInfo("Europe/Vienna")
NARROW = "\u202f"


@pytest.fixture
def fresh_log(transactional_db: None) -> None:
    versions.touch()


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    return whole_mill()


# -------- numbers and days


@pytest.mark.parametrize(
    ("language", "system", "shown"),
    [
        ("en", "metric", f"1{NARROW}234.5"),
        ("en", "us", "1,234.5"),
        ("de", "metric", "1.234,5"),
        ("de", "us", "1.234,5"),  # the units are the reader's choice, the signs are the language's
        ("fr", "metric", f"1{NARROW}234,5"),
        ("fr", "us", f"1{NARROW}234,5"),
    ],
)
def test_a_number_is_written_as_the_language_does(language: str, system: str, shown: str) -> None:
    with translation.override(language):
        assert units.show_number(1234.5, 1, system) == shown
        assert units.show_number(-0.04, 1, system) == ("0.0" if language == "en" else "0,0")


def test_quantities_carry_the_signs_of_the_language_and_its_words() -> None:
    with translation.override("de"):
        assert units.show_mass(12345, "metric") == "12,35 t"
        assert units.show_length(Decimal("10.25"), "metric") == "10,25 mm"
        assert "short ton" not in units.show_mass(54431, "us")
        assert figure(1234.5, ".5g") == "1234,5"
    assert units.show_mass(12345, "metric") == "12.35 t"
    assert units.show_mass(54431, "us") == "60.0 short tons"


def test_days_and_months_are_those_of_the_language(mill: Mill) -> None:
    instant = datetime(2026, 3, 5, 13, 5, tzinfo=UTC)  # 14:05 in Vienna
    assert when(instant) == "5 March 2026, 14:05"
    assert day(date(2026, 3, 5)) == "5 March 2026"
    with translation.override("de"):
        assert when(instant) == "5. März 2026, 14:05"
        assert day(date(2026, 3, 5)) == "5. März 2026"
    with translation.override("fr"):
        assert when(instant).startswith("5 mars 2026")
        assert day(date(2026, 3, 5)) == "5 mars 2026"


# -------- what is typed


def typed(field: NumberField, text: str, *, system: str = "metric") -> Decimal:
    field.use_units_of(Reader(system=system, zone=VIENNA))
    value = field.clean(text)
    assert isinstance(value, Decimal)
    return value


@pytest.mark.parametrize("language", ["de", "fr"])
@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1.234,5", "1234.5"),
        ("1 234,5", "1234.5"),
        ("1,234", "1.234"),  # the comma parts decimals, whatever stands behind it
        ("12.5", "12.5"),  # no thousands: it can only be a decimal point
        ("1.234.567", "1234567"),
        ("350", "350"),
    ],
)
def test_a_number_typed_with_comma_or_point_is_read_right(language: str, text: str, value: str) -> None:
    with translation.override(language):
        assert typed(MassField(), text) == Decimal(value)


def test_a_lone_point_before_three_digits_is_asked_about() -> None:
    with translation.override("de"), pytest.raises(ValidationError) as caught:
        typed(MassField(), "1.234")
    said = " ".join(caught.value.messages)
    assert "1234" in said
    assert "1,234" in said
    assert typed(MassField(), "1.234") == Decimal("1.234")  # in English a point is a point


@pytest.mark.parametrize("language", ["en", "de", "fr"])
@pytest.mark.parametrize("field", [MassField(), LengthField(), HoursField(), NumberField()])
@pytest.mark.parametrize("value", ["7.125", "1234.5", "0.25", "1000", "412.375"])
def test_what_an_input_shows_is_read_back_the_same_in_every_language(
    language: str, field: NumberField, value: str
) -> None:
    with translation.override(language):
        field.use_units_of(Reader(system="metric", zone=VIENNA))
        shown = field.prepare_value(Decimal(value))
        assert re.fullmatch(r"\d+(\.\d+)?", shown), "inputs have points in every language"
        assert field.clean(shown) == Decimal(value)


def test_a_german_number_of_the_form_is_stored_right(client: Client, shop: LookMill) -> None:
    person = User.objects.get()
    User.objects.update(language="de")
    client.force_login(person)
    address = reverse("web:reading-new") + f"?press={shop.twin.pk}"
    page = client.get(address).content.decode()
    answer = client.post(address, {**form_of(page), "meter_h": "4.321,5"})
    assert answer.status_code == 302, answer.content.decode()
    assert Reading.objects.get(press=shop.twin).meter_h == Decimal("4321.5")


# -------- pages


class Attributes(HTMLParser):
    """What a page hands to programs: places in drawings, values of inputs, times."""

    MACHINE = (
        "value", "datetime", "min", "max", "step", "href", "action", "viewbox", "d", "x", "y", "x1", "x2",
        "y1", "y2", "cx", "cy", "r", "width", "height", "points", "transform", "rows", "cols", "maxlength",
    )  # fmt: skip

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, str, str]] = []
        self.qr = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        if named.get("name") in ("csrfmiddlewaretoken", "ref", "asked_about"):
            return
        if named.get("type") in ("radio", "checkbox") or tag == "option":
            named.pop("value", None)
        if tag == "input" and re.search("[A-Za-z]{2}|^p-", named.get("value") or ""):
            named.pop("value")  # words that stand ready in the reader's language; an entry's own ref
        if "qr" in (named.get("class") or "").split():
            self.qr = True
        if not self.qr:
            self.found += [(tag, name, named[name] or "") for name in self.MACHINE if name in named]

    def handle_endtag(self, tag: str) -> None:
        self.qr = self.qr and tag != "svg"


PLACED_BY_ITS_LENGTH = re.compile(
    r'<(?:text|line) transform="translate\(-?\d+(?:\.\d+)?,-?\d+(?:\.\d+)?\)"[^>]*>'
)
"""A word in a picture, and its line, which is there where the word has room."""


def machine_parts(html: str) -> list[tuple[str, str, str]]:
    """But for what a printed card says in its code: it carries the mark of its words, which differ. And but
    for the words of pictures, whose places follow their length."""
    parser = Attributes()
    parser.feed(PLACED_BY_ITS_LENGTH.sub("", html))
    return [each for each in parser.found if not re.search(r"\?c=\d+-", each[2])]


MACHINE_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b|\b\d\d?/\d\d?/\d{4}\b")


def days_for_machines(html: str) -> list[str]:
    """Days in the words of a page that nobody would write so by hand."""
    page = Page()
    page.feed(html)
    return MACHINE_DAY.findall(" ".join(page.texts))


def test_a_day_as_a_machine_writes_it_is_found_in_words_alone() -> None:
    html = "<td>2026-03-04</td><p>until 03/04/2026</p><input value='2026-03-04'><p>4 Mar 2026, 2025/26</p>"
    assert days_for_machines(html) == ["2026-03-04", "03/04/2026"]


@pytest.mark.parametrize("language", ["de", "fr"])
def test_every_page_opens_in_the_language_and_what_programs_read_stays_as_it_is(
    client: Client, shop: LookMill, language: str
) -> None:
    client.force_login(User.objects.get())
    wrong = []
    for address in addresses(shop):
        if address == "/log/after/":  # nothing to read: it leads on
            continue
        User.objects.update(language="")
        english = client.get(address).content.decode()
        before = machine_parts(english)
        User.objects.update(language=language)
        answer = client.get(address)
        assert answer.status_code == 200, address
        assert f'<html lang="{language}">' in answer.content.decode(), address
        after = machine_parts(answer.content.decode())
        wrong += [f"{address}: {b} is {a}" for b, a in zip(before, after, strict=True) if a != b]
        for html in (english, answer.content.decode()):
            wrong += [f"{address}: {day} is no day as people write it" for day in days_for_machines(html)]
    assert wrong == []


def test_a_german_page_shows_german_numbers_and_days(client: Client, shop: LookMill) -> None:
    User.objects.update(language="de")
    client.force_login(User.objects.get())
    press = client.get(reverse("web:press", kwargs={"pk": shop.north.pk})).content.decode()
    assert "30,00 t" in press  # 60 days of 500 kg
    part = client.get(reverse("web:part", kwargs={"pk": shop.die.pk})).content.decode()
    assert "5,39 mm" in part
    assert "5.39 mm" not in part


def test_files_are_the_same_whoever_takes_them(client: Client, shop: LookMill) -> None:
    client.force_login(User.objects.get())
    taken = []
    for language in ("en", "de", "fr"):
        User.objects.update(language=language)
        archive = zipfile.ZipFile(io.BytesIO(client.get(reverse("web:export")).content))
        book = {name: archive.read(name) for name in archive.namelist()}
        assert len(book) > 10
        table = client.get(reverse("web:compare"), {"download": "csv"}).content
        assert b"seed_t" in table
        taken.append((book, table))
    assert taken[0] == taken[1] == taken[2]


def test_commands_print_english_in_a_german_mill(shop: LookMill) -> None:
    Mill.objects.update(language="de")
    User.objects.update(language="de")
    printed = Output()
    call_command("forecast", "--format", "json", stdout=printed)
    assert "CAUTION" in printed.text or "WARNING" in printed.text
    assert "Schnecke" not in printed.text
    assert "wall isolator Q1" in printed.text


# -------- who reads what


def test_a_person_reads_their_own_language_else_the_mills(client: Client, mill: Mill, owner: User) -> None:
    client.force_login(owner)
    assert '<html lang="en">' in client.get("/").content.decode()
    Mill.objects.update(language="fr")
    assert '<html lang="fr">' in client.get("/").content.decode()
    User.objects.update(language="de")
    answer = client.get("/", headers={"Accept-Language": "fr"})
    assert '<html lang="de">' in answer.content.decode()
    assert answer.headers["Content-Language"] == "de"


@pytest.mark.parametrize(
    ("accepts", "language"),
    [
        ("de-AT,de;q=0.9,en;q=0.5", "de"),
        ("pl,fr;q=0.8,en;q=0.5", "fr"),
        ("en-US,en", "en"),
        ("pl", "de"),
        ("*", "de"),
        ("", "de"),
        ("nonsense;;q=x", "de"),
    ],
)
def test_who_is_not_signed_in_reads_what_the_browser_asks_for_else_the_mills(
    client: Client, mill: Mill, accepts: str, language: str
) -> None:
    mill.language = "de"
    mill.save()
    assert language_of_browser(accepts, mill) == language
    answer = client.get(reverse("web:sign-in"), headers={"Accept-Language": accepts})
    assert f'<html lang="{language}">' in answer.content.decode()
    assert "Accept-Language" in answer.headers["Vary"]


def test_a_language_that_is_spoken_no_more_falls_back(mill: Mill, owner: User) -> None:
    owner.language, mill.language = "tlh", "fr"
    assert language_of(owner, mill) == "fr"
    mill.language = "tlh"
    assert language_of(owner, mill) == "en"


@pytest.mark.parametrize("role", Role.values)
def test_everybody_chooses_their_own_language(client: Client, mill: Mill, role: str) -> None:
    person = User.objects.create_user("somebody", name="Some Body", role=role)
    client.force_login(person)
    address = reverse("web:my-settings")
    form = form_of(client.get(address).content.decode())
    assert client.post(address, {**form, "language": "fr"}).status_code == 302
    person.refresh_from_db()
    assert person.language == "fr"
    assert '<html lang="fr">' in client.get(address).content.decode()


def test_the_owner_chooses_the_mills_language(client: Client, owner: User) -> None:
    client.force_login(owner)
    address = reverse("web:settings")
    form = form_of(client.get(address).content.decode())
    assert client.post(address, {**form, "language": "de"}).status_code == 302
    assert Mill.current().language == "de"


def test_the_command_line_gives_a_person_a_language_and_speaks_english(mill: Mill) -> None:
    Mill.objects.update(language="de")
    printed = Output()
    call_command("add_person", "mira", language="fr", stdout=printed)
    assert User.objects.get(username="mira").language == "fr"
    assert "The link works once" in printed.text
    call_command("add_person", "mira", stdout=printed)
    assert User.objects.get(username="mira").language == "fr"


def test_items_are_kept_in_the_languages_that_somebody_reads(mill: Mill, owner: User) -> None:
    assert languages() == ["en"]
    User.objects.create_user("f", language="fr")
    User.objects.create_user("gone", language="de", is_active=False)
    assert languages() == ["en", "fr"]


class Output:
    def __init__(self) -> None:
        self.text = ""

    def write(self, text: str) -> None:
        self.text += text

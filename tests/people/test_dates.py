"""Days written out in each language."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.conf import settings
from django.template import Context, Template
from django.utils import translation

from wearlog.people.dates import written

DAY = date(2026, 3, 4)  # a Wednesday


def test_every_language_of_the_site_writes_a_day_as_its_readers_do() -> None:
    found = {}
    for language, _name in settings.LANGUAGES:
        with translation.override(language):
            found[language] = written(DAY, "l j F Y")
    assert found == {
        "en": "Wednesday 4 March 2026",
        "de": "Mittwoch, 4. März 2026",
        "fr": "mercredi 4 mars 2026",
    }


@pytest.mark.parametrize(
    ("language", "pattern", "expected"),
    [
        ("en", "j F Y", "4 March 2026"),
        ("en", "D j M", "Wed 4 Mar"),
        ("fr", "j F Y", "4 mars 2026"),
        ("en", "l j F Y", "Wednesday 4 March 2026"),
        ("de", "j F Y", "4. März 2026"),
        ("de", "j F", "4. März"),
        ("de", "D j M", "Mi 4. Mär"),
        ("de", "l j F Y", "Mittwoch, 4. März 2026"),
        ("de-at", "j F Y", "4. März 2026"),
        ("de", "Y-m-d", "2026-03-04"),
    ],
)
def test_german_sets_a_dot_after_the_day_and_a_comma_after_a_whole_weekday(
    language: str, pattern: str, expected: str
) -> None:
    with translation.override(language):
        assert written(DAY, pattern) == expected


@pytest.mark.parametrize(
    ("month", "expected"),
    [(6, "jeu 4 juin 2026"), (7, "sam 4 juil. 2026"), (8, "mar 4 août 2026"), (11, "mer 4 nov. 2026")],
)
def test_french_tells_june_from_july_and_writes_months_small(month: int, expected: str) -> None:
    with translation.override("fr"):
        assert written(date(2026, month, 4), "D j M Y") == expected


@pytest.mark.parametrize(
    ("pattern", "expected"),
    [
        ("j F Y", "1er mars 2026"),
        ("D j M", "dim 1er mars"),
        ("j/m/Y", "1/03/2026"),
        ("j F Y, H:i", "1er mars 2026, 06:30"),
    ],
)
def test_french_writes_the_first_of_a_month_with_er(pattern: str, expected: str) -> None:
    moment = datetime(2026, 3, 1, 6, 30, tzinfo=UTC)
    with translation.override("fr"):
        assert written(moment, pattern) == expected
        shown = Template("{{ moment|date:'" + pattern + "' }}").render(Context({"moment": moment}))
        assert shown == expected


@pytest.mark.parametrize(
    ("language", "pattern", "expected"),
    [
        ("en", '|date:"j M Y, H:i"', "4 Mar 2026, 06:30"),
        ("de", '|date:"j M Y, H:i"', "4. Mär 2026, 06:30"),
        ("de", "|date:'c'", "2026-03-04T06:30:00+00:00"),
        ("de", "|date", "4. März 2026"),
    ],
)
def test_the_date_filter_of_every_template_does_the_same(language: str, pattern: str, expected: str) -> None:
    moment = datetime(2026, 3, 4, 6, 30, tzinfo=UTC)
    with translation.override(language):
        assert Template("{{ moment" + pattern + " }}").render(Context({"moment": moment})) == expected


def test_a_missing_day_stays_empty_in_a_template() -> None:
    with translation.override("de"):
        assert Template('{{ day|date:"j F Y" }}').render(Context({"day": None})) == ""

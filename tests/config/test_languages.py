"""The catalogues hold every text of the source, translated, and no others; what runs is what is edited."""

from __future__ import annotations

import re
import subprocess
from collections import Counter
from pathlib import Path

import pytest
from django.conf import settings

from tests.config import catalogues
from tests.config.catalogues import LOCALE, Entry

OWN = {"de": ("Deutsch", 2), "fr": ("Français", 2)}
"""Of each language beside English: what it calls itself, and how many forms its words have by number."""
LANGUAGES = [code for code, _name in settings.LANGUAGES if code != "en"]
FILLED_IN = re.compile(r"%\((\w+)\)[sd]|%[sdn]|%%|\{\w*\}")
SPACES, NO_BREAK = (" ", "\n"), "\N{NO-BREAK SPACE}"
TAGS = re.compile(r"</?[a-z][^>]*>|&[a-z]+;|&#\d+;")


def path_of(language: str) -> Path:
    return LOCALE / language / "LC_MESSAGES" / "django.po"


def texts_of(language: str) -> list[Entry]:
    """Every entry but for the head."""
    return [entry for entry in catalogues.entries(path_of(language)) if entry.msgid]


@pytest.fixture(scope="session")
def source(xgettext: str, tmp_path_factory: pytest.TempPathFactory) -> set[tuple[str, str, str]]:
    found = catalogues.entries(catalogues.gathered(tmp_path_factory.mktemp("source")))
    return {entry.key for entry in found if entry.msgid}


def test_the_site_speaks_more_than_english_and_each_language_by_its_own_name() -> None:
    assert dict(settings.LANGUAGES) == {"en": "English", **{code: name for code, (name, _) in OWN.items()}}
    assert sorted(path.name for path in LOCALE.iterdir()) == sorted(LANGUAGES)


def test_the_page_of_a_broken_server_says_it_in_every_language() -> None:
    """It can't ask a catalogue: nothing may be working."""
    page = (LOCALE.parent / "web" / "site" / "templates" / "500.html").read_text(encoding="utf-8")
    assert re.findall(r'lang="([^"]+)"', page) == [code for code, _name in settings.LANGUAGES]


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_catalogue_holds_the_texts_of_the_source_and_no_others(
    language: str, source: set[tuple[str, str, str]]
) -> None:
    held = {entry.key for entry in texts_of(language)}
    assert sorted(source - held) == [], "missing: renew the catalogues as DEVELOPERS.md says"
    assert sorted(held - source) == [], "not in the source any more"
    assert len(held) > 2000


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_text_is_translated_surely_and_in_all_its_forms(language: str) -> None:
    _name, forms = OWN[language]
    head, *_entries = catalogues.entries(path_of(language))
    assert f"nplurals={forms};" in head.said[0]
    for entry in texts_of(language):
        assert "fuzzy" not in entry.flags, entry.msgid
        assert not entry.obsolete, entry.msgid
        assert set(entry.said) == (set(range(forms)) if entry.plural else {0}), entry.msgid
        assert all(said.strip() for said in entry.said.values()), entry.msgid


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_is_filled_in_and_every_tag_stand_in_the_translation_too(language: str) -> None:
    wrong = []
    for entry in texts_of(language):
        for form, said in entry.said.items():
            # One thing may be said without its number ("a part"), in the form for one.
            originals = (entry.msgid, entry.plural) if entry.plural else (entry.msgid,)
            for what in (FILLED_IN, TAGS):
                here = Counter(each[0] for each in what.finditer(said))
                allowed = [Counter(each[0] for each in what.finditer(text)) for text in originals]
                if here not in allowed:
                    wrong.append(f"{entry.msgid!r} [{form}]: {dict(here)}")
            if entry.msgid.startswith(SPACES) and not said.startswith((*SPACES, NO_BREAK)):
                wrong.append(f"{entry.msgid!r} begins with a space")
            if said.startswith(SPACES) and not entry.msgid.startswith(SPACES):
                wrong.append(f"{entry.msgid!r} begins without a space")
            if entry.msgid.endswith(SPACES) != said.endswith(SPACES):
                wrong.append(f"{entry.msgid!r} ends with another kind of space")
    assert wrong == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_runs_is_what_was_edited(language: str, xgettext: str, tmp_path: Path) -> None:
    fresh = tmp_path / "django.mo"
    command = ["msgfmt", "--check-format", "--check-header", "-o", str(fresh), str(path_of(language))]
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    assert fresh.read_bytes() == path_of(language).with_suffix(".mo").read_bytes(), "run compilemessages"


@pytest.mark.parametrize("language", LANGUAGES)
def test_trade_words_wait_for_a_look_by_somebody_of_the_trade(language: str) -> None:
    marked = [entry for entry in texts_of(language) if any("review: trade word" in c for c in entry.comments)]
    assert len(marked) > 50


def test_the_reader_of_catalogues_sees_what_is_wrong_with_one(tmp_path: Path) -> None:
    path = tmp_path / "django.po"
    path.write_text(
        'msgid ""\nmsgstr "Plural-Forms: nplurals=2;\\n"\n\n'
        '#, fuzzy, python-format\nmsgctxt "act"\nmsgid "a %(b)s"\nmsgid_plural "bs"\n'
        'msgstr[0] "x"\nmsgstr[1] ""\n\n'
        '#~ msgid "gone"\n#~ msgstr "weg"\n'
    )
    head, one, gone = catalogues.entries(path)
    assert head.msgid == ""
    assert one.key == ("act", "a %(b)s", "bs")
    assert one.flags == {"fuzzy", "python-format"}
    assert one.said == {0: "x", 1: ""}
    assert gone.obsolete

"""What French asks of its texts beyond being there: its spaces, its quotes, no promise about a machine."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator

from tests.config.catalogues import LOCALE, entries

CATALOGUE = LOCALE / "fr" / "LC_MESSAGES" / "django.po"
KEPT = re.compile(r"%\(\w+\)[sd]|%%|%s|<[^>]+>|&\w+;")
CODE = re.compile(r"<code>.*?</code>|<[^>]+>|https?://\S+|%\(\w+\)[sd]")


def texts() -> Iterator[tuple[str, str]]:
    """(English, French) of every entry; of plurals, each French form beside the English one of its number."""
    for entry in entries(CATALOGUE)[1:]:
        yield entry.msgid, entry.said[0]
        if entry.plural:
            yield entry.plural, entry.said[1]


def words(french: str) -> str:
    """The text that is read, without tags, addresses and placeholders."""
    return CODE.sub("x", french)


def test_a_no_break_space_stands_before_high_signs_and_inside_quotes() -> None:
    wrong = [french for _english, french in texts() if re.search(" [:;?!»]|« ", words(french))]
    assert wrong == []
    tight = [french for _english, french in texts() if re.search(r"[\w)][?!»]|«[^\u00a0]", words(french))]
    assert tight == []


def test_a_quote_has_the_french_signs_and_an_apostrophe_is_a_raised_comma() -> None:
    assert [french for _english, french in texts() if re.search("['“”]", words(french))] == []


def test_every_placeholder_and_every_tag_is_kept() -> None:
    assert [
        (english, french)
        for english, french in texts()
        if Counter(KEPT.findall(english)) != Counter(KEPT.findall(french))
    ] == []


def test_no_text_promises_that_a_machine_is_safe() -> None:
    # The words by which French would say so; the house has the rule that nobody's log can know it.
    promise = re.compile(r"sans (danger|risque)|en (toute )?sécurité|sécuris|inoffensi|hors d[’']énergie")
    assert [french for _english, french in texts() if promise.search(french.lower())] == []


def test_the_signal_words_are_the_usual_french_ones() -> None:
    said = dict(texts())
    assert [said[word] for word in ("DANGER", "WARNING", "CAUTION")] == [
        "DANGER",
        "AVERTISSEMENT",
        "ATTENTION",
    ]


def test_the_reader_is_addressed_with_vous() -> None:
    familiar = re.compile(r"\b(tu|toi|ton|tes|tien)\b")
    assert [french for _english, french in texts() if familiar.search(words(french).lower())] == []

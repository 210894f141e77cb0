"""What French asks of its texts beyond being there: its spaces, its quotes, no promise about a machine."""

from __future__ import annotations

import re

from tests.config.catalogues import as_read, texts


def test_a_no_break_space_stands_before_high_signs_and_inside_quotes() -> None:
    wrong = [french for _english, french in texts("fr") if re.search(" [:;?!»]|« ", as_read(french))]
    assert wrong == []
    tight = [
        french for _english, french in texts("fr") if re.search(r"[\w)][?!»]|«[^\u00a0]", as_read(french))
    ]
    assert tight == []


def test_a_quote_has_the_french_signs_and_an_apostrophe_is_a_raised_comma() -> None:
    assert [french for _english, french in texts("fr") if re.search("['“”]", as_read(french))] == []


def test_no_text_promises_that_a_machine_is_safe() -> None:
    # The words by which French would say so; the house has the rule that nobody's log can know it.
    promise = re.compile(r"sans (danger|risque)|en (toute )?sécurité|sécuris|inoffensi|hors d[’']énergie")
    assert [french for _english, french in texts("fr") if promise.search(french.lower())] == []


def test_the_signal_words_are_the_usual_french_ones() -> None:
    said = dict(texts("fr"))
    assert [said[word] for word in ("DANGER", "WARNING", "CAUTION")] == [
        "DANGER",
        "AVERTISSEMENT",
        "ATTENTION",
    ]


def test_the_reader_is_addressed_with_vous() -> None:
    familiar = re.compile(r"\b(tu|toi|ton|tes|tien)\b")
    assert [french for _english, french in texts("fr") if familiar.search(as_read(french).lower())] == []

"""Each table of words says something of every action, kind and state, in every language."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.conf import settings
from django.template import Context, Template
from django.utils import timezone, translation

from wearlog.compare.repeats import INCIDENTS, REPEATED
from wearlog.equipment.models import Kind
from wearlog.forecasts.items import STATES
from wearlog.reminders.models import Stage
from wearlog.service.models import Action
from wearlog.words.actions import RECURRING, action_word, done_word, noun_of, recurring_word, work_word
from wearlog.words.kinds import kind_words, mark_words, noun_words, part_words, seat_words
from wearlog.words.tasks import STATE_WORDS

LANGUAGES = [code for code, _name in settings.LANGUAGES]


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_action_has_each_of_its_forms_and_no_two_actions_share_one(language: str) -> None:
    with translation.override(language):
        for form in (work_word, action_word, noun_of, done_word):
            words = [form(action) for action in Action.values]
            assert all(words)
            assert len(set(words)) == len(words), form.__name__


def test_the_forms_of_an_action_stand_where_sentences_need_them() -> None:
    assert (work_word("flip"), action_word("flip"), noun_of("flip"), done_word("flip")) == (
        "flip", "Flip", "flip", "Flipped",
    )  # fmt: skip
    assert (work_word("hard-face"), action_word("hard-face"), noun_of("hard-face")) == (
        "hard-face", "Hard-face", "hard-facing",
    )  # fmt: skip


def test_what_comes_again_has_a_word_for_all_that_is_followed_and_for_nothing_else() -> None:
    assert set(RECURRING) == {*REPEATED, *INCIDENTS}
    assert recurring_word("polish") == "Polishing"
    assert recurring_word("plugged") == "Plugging"


def test_every_state_has_a_word_and_a_stage_of_a_mail_says_the_same() -> None:
    assert set(STATE_WORDS) == set(STATES)
    for stage in (Stage.COMING, Stage.DUE, Stage.OVERDUE):
        assert str(stage.label).lower() == str(STATE_WORDS[stage.value]).lower()


def test_every_kind_of_part_is_named_and_no_part_is_the_press() -> None:
    assert [kind_words(kind) for kind in Kind.values] == [str(kind.label) for kind in Kind]
    assert kind_words("") == "press"
    assert [noun_words(kind) for kind in Kind.values if kind != "other"] == [
        kind_words(kind) for kind in Kind.values if kind != "other"
    ]
    assert noun_words("other") == "part"


def test_a_part_is_named_by_kind_code_and_edge_and_by_nothing_twice() -> None:
    assert part_words("die", "D5-04", "A") == "die D5-04, edge A"
    assert part_words("belt", "P2 belt") == "P2 belt"
    assert part_words("other", "X-1") == "X-1"
    assert mark_words("D5-04", "A") == "D5-04 A"
    assert mark_words("S-01") == "S-01"


@pytest.mark.parametrize(
    ("language", "words"), [("en", "left die D5-04, edge A"), ("de", "linke Düse D5-04, Kante A")]
)
def test_a_place_that_says_its_kind_is_not_told_it_again_in_any_language(language: str, words: str) -> None:
    place = words.partition(" D5-04")[0]
    with translation.override(language):
        assert seat_words("die", place, "D5-04", "A") == words


def test_a_place_of_another_name_says_its_kind_in_the_language_of_the_reader() -> None:
    with translation.override("de"):
        assert seat_words("belt", "P4", None) == "P4 (Riemen): nichts eingebaut"


@pytest.mark.parametrize(
    ("day", "words"),
    [
        (date(2026, 3, 1), "Sun 1 Mar"),
        (datetime(2026, 2, 28, 23, 30, tzinfo=UTC), "Sun 1 Mar"),  # half past midnight in Vienna
        (datetime(2025, 3, 1, 12, tzinfo=UTC), "Sat 1 Mar 2025"),
        (None, ""),
    ],
)
def test_a_day_on_a_page_has_its_year_where_it_is_long_ago_an_instant_too(
    day: date | datetime | None, words: str
) -> None:
    page = Template("{% load due %}{{ day|day:today }}")
    with timezone.override("Europe/Vienna"):
        assert page.render(Context({"day": day, "today": date(2026, 3, 4)})) == words

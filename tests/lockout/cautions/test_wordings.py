"""The mill's own words in a caution: versions, the least that stays, the signal word."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from hypothesis import given
from hypothesis import strategies as st

from tests.dates import at
from wearlog.equipment.models import Press
from wearlog.history import versions
from wearlog.lockout.cautions import hazards
from wearlog.lockout.cautions.queries import caution_for, caution_for_press, cautions_for
from wearlog.lockout.cautions.wordings import of_rows, sentence
from wearlog.lockout.models import CautionWording
from wearlog.logbook import lockouts
from wearlog.people.models import AuditEntry, User
from wearlog.people.refusals import NotAllowed, Refused

NOW = at("2026-03-10 08:00")
PRESSURE = "trapped-pressure"
LEAST = "Pressure can stay behind a plugged die with the power off."

Set = Callable[..., CautionWording]


@pytest.fixture
def press(owner: User) -> Press:
    return Press.objects.create(code="P1", name="North press")


@pytest.fixture
def set_words(owner: User) -> Set:
    def call(hazard: str = PRESSURE, **fields: Any) -> CautionWording:
        given = {"by": owner, "at": NOW, "reason": "a plug flew", **fields}
        return lockouts.set_wording(hazard=hazard, **given)

    return call


def text_of(press: Press, action: str = "flip", kind: str = "die") -> str:
    return caution_for_press(press.pk, action, kind).text


def test_other_words_replace_the_shipped_sentence_but_for_its_least(press: Press, set_words: Set) -> None:
    set_words(instead="The plug shoots out like a cork")
    text = text_of(press)
    assert "The plug shoots out like a cork. " + LEAST in text
    assert "throw out the plug" not in text


def test_an_addition_follows_the_shipped_sentence(press: Press, set_words: Set) -> None:
    set_words(added="Stand on the window side!")
    assert "throw out the plug, the die or the head. Stand on the window side!" in text_of(press)


def test_an_addition_to_every_task_stands_behind_what_can_hurt_and_before_the_steps(
    press: Press, set_words: Set
) -> None:
    set_words("every-task", added="Tell the office first")
    for action, kind in (("flip", "die"), ("replace", "belt"), ("polish", "screw")):
        text = text_of(press, action, kind)
        assert (
            text.index("can start by itself")
            < text.index("Tell the office first.")
            < text.index("Before you")
        )


def test_words_of_a_press_win_and_additions_of_both_are_kept(press: Press, set_words: Set) -> None:
    other = Press.objects.create(code="P2")
    set_words(instead="Mill words", added="Mill addition")
    set_words(instead="Press words", added="Press addition", press_id=press.pk)
    assert f"Press words. {LEAST} Mill addition. Press addition." in text_of(press)
    assert f"Mill words. {LEAST} Mill addition. Head" not in text_of(press)
    assert f"Mill words. {LEAST} Mill addition." in text_of(other)
    assert "Press words" not in text_of(other)
    assert "Press addition" not in text_of(other)


def test_danger_is_set_for_one_press_and_its_hazard_comes_first(press: Press, set_words: Set) -> None:
    other = Press.objects.create(code="P2")
    set_words("hot-head", word="DANGER", press_id=press.pk)
    caution = caution_for_press(press.pk, "clean", "head")
    assert caution.signal_word == "DANGER"
    assert caution.text.startswith("Head, barrel and oil are hot")
    assert caution_for_press(other.pk, "clean", "head").signal_word == "WARNING"


def test_danger_needs_a_press(press: Press, set_words: Set) -> None:
    with pytest.raises(Refused, match=r"a judgement about one machine\. Choose the press"):
        set_words(word="DANGER")
    with pytest.raises(IntegrityError), transaction.atomic():
        CautionWording.objects.create(
            number=9, hazard=PRESSURE, word="DANGER", reason="x", at=NOW, by_name="x"
        )


@pytest.mark.parametrize("word", ["NOTICE", "ATTENTION", "danger"])
def test_a_word_that_stands_for_no_injury_is_refused(press: Press, set_words: Set, word: str) -> None:
    with pytest.raises(Refused, match="no signal word for an injury"):
        set_words(word=word, press_id=press.pk)


def test_a_signal_word_is_raised_and_never_lowered(press: Press, set_words: Set) -> None:
    with pytest.raises(Refused, match="WARNING at least"):
        set_words(word="CAUTION")
    set_words("sharp-edges", word="WARNING")
    bench = cautions_for([press.pk]).of(press.pk, action="polish", kind="die", on_press=False)
    assert bench.signal_word == "WARNING"


def test_every_version_is_kept_with_who_when_and_why(press: Press, owner: User, set_words: Set) -> None:
    set_words(added="first")
    set_words(added="second", at=NOW + timedelta(days=1), reason="better put")
    set_words(reason="too long")
    rows = list(CautionWording.objects.values_list("number", "added", "by_name", "at", "reason"))
    assert rows == [
        (1, "first", "Olga", NOW, "a plug flew"),
        (2, "second", "Olga", NOW + timedelta(days=1), "better put"),
        (3, "", "Olga", NOW, "too long"),
    ]
    assert text_of(press) == caution_for(action="flip", kind="die", sources=[]).text
    trail = AuditEntry.objects.filter(record="cautionwording").order_by("pk")
    assert [entry.action for entry in trail] == ["add", "change", "change"]
    assert [entry.old and entry.old["added"] for entry in trail] == [None, "first", "second"]


def test_a_version_is_never_changed(set_words: Set) -> None:
    row = set_words(added="first")
    row.added = "second"
    with pytest.raises(TypeError, match="never changed"):
        row.save()


def test_the_mark_names_the_latest_version_that_went_into_the_caution(press: Press, set_words: Set) -> None:
    other = Press.objects.create(code="P2")
    assert caution_for_press(press.pk, "flip", "die").version.startswith("0-")
    set_words(added="for one", press_id=press.pk)
    set_words("belts-and-gears", added="not for dies")
    first, second = (caution_for_press(each.pk, "flip", "die").version for each in (press, other))
    assert first.startswith("1-")
    assert second.startswith("0-")
    assert caution_for_press(other.pk, "replace", "belt").version.startswith("2-")


def test_going_back_to_the_shipped_words_says_the_same_under_a_later_number(
    press: Press, set_words: Set
) -> None:
    before = caution_for_press(press.pk, "flip", "die")
    set_words(added="for a day")
    set_words()
    after = caution_for_press(press.pk, "flip", "die")
    assert (after.text, after.texts, before.texts) == (before.text, 2, 0)
    assert after.version.split("-")[1] == before.version.split("-")[1]


def test_a_change_raises_the_version_of_the_log(press: Press, set_words: Set) -> None:
    before = versions.current()
    set_words(added="new")
    assert versions.current() != before


def test_words_that_changed_meanwhile_are_not_overwritten(set_words: Set) -> None:
    set_words(added="first", seen=0)
    with pytest.raises(Refused, match="Olga changed these words while you had them open"):
        set_words(added="second", seen=0)
    assert set_words(added="second", seen=1).number == 2


@pytest.mark.parametrize(
    "promise",
    [
        "The press is safe then",
        "It opens safely",
        "A harmless plug",
        "There is no danger",
        "Die Presse ist dann sicher",
        "Hier besteht keine Gefahr",
        "Ein harmloser Pfropfen",
        "La presse est alors sans danger",
        "On travaille en toute sécurité",
    ],
)
@pytest.mark.parametrize("field", ["instead", "added"])
def test_a_promise_is_no_caution(set_words: Set, field: str, promise: str) -> None:
    with pytest.raises(Refused, match="can't promise anything") as refusal:
        set_words(**{field: promise})
    assert refusal.value.field == field


def test_nothing_different_no_reason_and_no_such_hazard_are_refused(set_words: Set) -> None:
    with pytest.raises(Refused, match="Nothing is different"):
        set_words()
    with pytest.raises(Refused, match="Write why"):
        set_words(added="x", reason=" ")
    with pytest.raises(Refused, match="no such hazard"):
        set_words("noise", added="x")
    with pytest.raises(Refused, match="no such press"):
        set_words(added="x", press_id=4711)
    with pytest.raises(Refused, match="there is none to replace"):
        set_words("every-task", instead="x")
    assert not CautionWording.objects.exists()


def test_words_are_the_owners(set_words: Set, operator: User) -> None:
    with pytest.raises(NotAllowed):
        set_words(added="x", by=operator)


words = st.text(st.characters(categories=["L", "N", "P", "S", "Zs"]), max_size=60)
rows = st.lists(
    st.builds(
        CautionWording,
        hazard=st.sampled_from([*(hazard.key for hazard in hazards.ALL), "every-task"]),
        press_id=st.sampled_from([None, 1, 2]),
        instead=words,
        added=words,
        word=st.sampled_from(["", "CAUTION", "WARNING", "DANGER"]),
    ),
    max_size=12,
)


@given(
    rows=rows,
    action=st.sampled_from(["clean", "flip", "hard-face", "replace"]),
    kind=st.sampled_from(["", "die", "screw", "belt", "motor", "filter"]),
    press_id=st.sampled_from([None, 1, 2]),
    on_press=st.booleans(),
)
def test_whatever_the_owner_writes_the_shipped_minimum_is_said(
    rows: list[CautionWording], action: str, kind: str, press_id: int | None, on_press: bool
) -> None:
    for number, row in enumerate(rows, start=1):
        row.number = number
    shipped = caution_for(action=action, kind=kind, sources=[], on_press=on_press)
    caution = caution_for(
        action=action,
        kind=kind,
        sources=[],
        on_press=on_press,
        press_id=press_id,
        wordings=of_rows(rows),
    )
    for hazard in hazards.hazards_of(action=action, kind=kind, on_press=on_press):
        assert str(hazard.sentence) in caution.text or str(hazard.least) in caution.text
    assert hazards.SignalWord[caution.signal_word] >= hazards.SignalWord[shipped.signal_word]
    assert "isolate every source" in caution.text
    assert "licensed electrician" in caution.text


@given(text=words)
def test_a_sentence_ends_and_loses_no_word(text: str) -> None:
    assert sentence(text).endswith((".", "!", "?", "…"))
    assert sentence(text).removesuffix(".").split() == text.removesuffix(".").split() or text.strip() == "."

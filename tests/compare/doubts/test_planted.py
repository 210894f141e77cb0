"""What is spoilt in a clean log is found; in a clean one hardly anything is doubted."""

from __future__ import annotations

import random
from datetime import date, timedelta

import pytest

from tests.mills.doubtful_mill import LAST, PACES, SPOILS, Clean, clean, store
from wearlog.compare.doubts.looking import OpenDoubt, doubts
from wearlog.history.record import load
from wearlog.runs.models import Cause

MILLS = 3


def found_in(made: Clean) -> list[tuple[Cause, str, date, OpenDoubt]]:
    store(made)
    record = load(LAST)
    return [
        (each.cause, record.presses[each.press].code, record.day_of(each.first), each)
        for each in doubts(record)
    ]


@pytest.mark.parametrize("seed", range(MILLS))
def test_of_a_clean_year_at_most_one_thing_for_each_press_is_doubted(seed: int, db: None) -> None:
    found = found_in(clean(seed))
    assert len(found) <= len(PACES), found


@pytest.mark.parametrize("name", SPOILS)
def test_what_was_spoilt_is_found(name: str, db: None) -> None:
    made = clean(7)
    cause, press, day = SPOILS[name](made, random.Random(name))
    near = timedelta(days=6 if cause is Cause.STEP else 1)
    found = found_in(made)
    assert any(
        one == cause and code == press and abs(first - day) <= near for one, code, first, _doubt in found
    ), found

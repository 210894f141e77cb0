"""The order of steps against 29 CFR 1910.147, paragraph by paragraph.

The order and the numbers were read in a public copy of the Code of Federal Regulations (annual edition);
what each paragraph asks is told in our own words.
"""

from __future__ import annotations

import pytest

from wearlog.lockout.queries import caution_for
from wearlog.lockout.steps import APPLY, RELEASE, before_restart, before_work

# paragraph, what it asks for (own words), words of ours that must stand in the step
APPLICATION = [
    ("(d)(1)", "know type, size and control of the energy before the stop", "know every energy source"),
    ("(d)(2)", "an orderly shutdown", "shut the press down in its usual order"),
    ("(d)(3)", "operate every isolating device", "isolate every source"),
    ("(d)(4)", "authorised people fix lock or tag to each device", "lock and tag to each isolating device"),
    ("(d)(5)", "(i) relieve or restrain stored energy, (ii) go on checking", "again and again where it can"),
    ("(d)(6)", "verify the isolation before work begins", "try the start"),
]
# (e)(2)(i) is about people standing clear; (e)(3) about who takes a lock off; (e)(2)(ii) asks to tell people
# after the locks are off and before the start, which puts it behind (e)(3) in time.
RELEASING = [
    ("(e)(1)", "look the area over: nothing left inside, parts complete", "take all tools out"),
    ("(e)(2)(i)", "people stand clear", "everybody stands clear"),
    ("(e)(3)", "each device comes off by the person who fitted it", "whoever fitted a lock takes it off"),
    ("(e)(2)(ii)", "people are told once the devices are off, before the start", "tell everybody concerned"),
]


def test_the_steps_before_work_stand_in_the_order_of_paragraph_d() -> None:
    assert [step.paragraph for step in APPLY] == [paragraph for paragraph, _asks, _words in APPLICATION]


def test_the_steps_before_a_restart_stand_in_the_order_in_which_paragraph_e_has_them_happen() -> None:
    assert [step.paragraph for step in RELEASE] == [paragraph for paragraph, _asks, _words in RELEASING]


@pytest.mark.parametrize(("paragraph", "asks", "words"), APPLICATION + RELEASING)
def test_each_step_says_what_its_paragraph_asks_for(paragraph: str, asks: str, words: str) -> None:
    (step,) = [step for step in (*APPLY, *RELEASE) if step.paragraph == paragraph]
    assert words in str(step.clause), asks


def test_the_sentences_keep_the_order() -> None:
    for sentence, rows in ((before_work(), APPLICATION), (before_restart(), RELEASING)):
        places = [sentence.index(words) for _paragraph, _asks, words in rows]
        assert places == sorted(places)


def test_the_lock_comes_before_the_stored_energy_and_the_trial_comes_last_in_every_caution() -> None:
    """1910.147(d)(5)(i) is about what follows the lock or tag; (d)(6) about what precedes work."""
    text = caution_for(action="clean", kind="die", sources=[]).text
    assert text.index("lock and tag") < text.index("stored energy") < text.index("try the start")


def test_whoever_is_concerned_is_told_before_the_stop_and_after_the_locks_are_off() -> None:
    """1910.147(c)(9): notice before the controls are applied and after they are removed."""
    assert "tell those whom the stop concerns" in before_work()
    assert before_work().index("tell those") < before_work().index("shut the press down")
    assert before_restart().index("takes it off") < before_restart().index("tell everybody")


def test_a_lock_belongs_to_one_person() -> None:
    """1910.147(c)(5)(ii)(D): a device tells who fitted it; (f)(3): in a group each adds their own."""
    assert "each person fits their own lock" in before_work()

"""The order of steps against 29 CFR 1910.147, paragraph by paragraph.

The order and the numbers of (d), (e), (f)(1), (f)(3) and (f)(4) were read in public copies of the Code of
Federal Regulations; (f)(2) is from memory. What each paragraph asks is told in our own words.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from wearlog.lockout.cautions.queries import caution_for
from wearlog.lockout.cautions.steps import (
    APPLY,
    CONTRACTORS,
    FOR_ANOTHER,
    HAND_OVER,
    RELEASE,
    TEST,
    TOGETHER,
    Step,
    before_restart,
    before_work,
    contractors,
    for_a_test,
    for_another,
    hand_over,
    several_people,
)
from wearlog.lockout.models import Isolation, Lock

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


# --- (f): additional requirements, and the exception of (e)(3)

TESTING = [
    ("(f)(1)(i)", "clear the machine of tools and materials", "take tools and material away"),
    ("(f)(1)(ii)", "remove people from the area", "everybody stands clear"),
    ("(f)(1)(iii)", "remove the devices as (e)(3) has it", "each person their own"),
    ("(f)(1)(iv)", "energise and test or position", "switch on and make the test"),
    ("(f)(1)(v)", "de-energise and apply the controls again as (d) has it", "isolate, lock and verify anew"),
]
OUTSIDE_PEOPLE = [  # from memory
    (
        "(f)(2)(i)",
        "both employers inform each other of their procedures",
        "tell each other how they lock and tag",
    ),
    ("(f)(2)(ii)", "the host's people understand and keep to the other's", "leave them alone"),
]
GROUP = [
    ("(f)(3)(ii)(A)", "primary responsibility with one authorised person", "one person leads and answers"),
    ("(f)(3)(ii)(B)", "that person can tell who is exposed", "knows at any moment who is at work"),
    ("(f)(3)(ii)(C)", "several crews have one to coordinate them", "one person keeps them together"),
    (
        "(f)(3)(ii)(D)",
        "each fixes a personal device, and removes it at the end",
        "own lock before they begin",
    ),
]
SHIFT = [
    ("(f)(4)", "an orderly transfer between off-going and oncoming people", "both meet at the press"),
    ("(f)(4)", "protection goes on without a gap", "while the other's is still on"),
    ("(e)(3)", "each takes off their own device", "takes their own lock off"),
    ("(d)(6)", "verified before work starts", "tries the start"),
]
ABSENT = [
    ("(e)(3)(i)", "verify that the person is not at the facility", "not on the premises"),
    ("(e)(3)(ii)", "make every reasonable effort to inform them", "try every reasonable way to reach them"),
    ("(e)(3)(iii)", "they know before they resume work", "know before they work here again"),
]
BESIDE = [
    (TEST, TESTING, for_a_test),
    (CONTRACTORS, OUTSIDE_PEOPLE, contractors),
    (TOGETHER, GROUP, several_people),
    (HAND_OVER, SHIFT, hand_over),
    (FOR_ANOTHER, ABSENT, for_another),
]


@pytest.mark.parametrize(("steps", "rows", "sentence"), BESIDE)
def test_what_is_done_beside_the_plain_order_stands_in_the_order_of_its_paragraphs(
    steps: tuple[Step, ...], rows: list[tuple[str, str, str]], sentence: Callable[[], str]
) -> None:
    assert [step.paragraph for step in steps] == [paragraph for paragraph, _asks, _words in rows]
    for step, (_paragraph, asks, words) in zip(steps, rows, strict=True):
        assert words in str(step.clause), asks
    places = [sentence().index(words) for _paragraph, _asks, words in rows]
    assert places == sorted(places)


def test_a_test_under_power_ends_as_the_work_began() -> None:
    """1910.147(f)(1)(v) leads back to (d): isolate, lock, verify."""
    last = str(TEST[-1].clause)
    assert last.index("isolate") < last.index("lock") < last.index("verify anew")


def test_every_step_of_the_program_has_a_paragraph_and_a_name_of_its_own() -> None:
    for steps in (APPLY, RELEASE, TEST, TOGETHER, HAND_OVER, CONTRACTORS, FOR_ANOTHER):
        assert len({step.name for step in steps}) == len(steps)
        assert all(re.fullmatch(r"\([def]\)(\([0-9ivA-D]+\))+", step.paragraph) for step in steps)


# --- heat, which may be controlled instead of zero


def test_heat_may_be_kept_under_control_and_the_text_says_how() -> None:
    """1910.147(d)(5)(i) is about stored energy that is let go, parted or held back;
    that a head is often opened warm is common practice, no source."""
    text = caution_for(action="clean", kind="head", sources=[]).text
    for words in ("heater isolated", "temperature measured", "gloves on", "loosen slowly"):
        assert words in text


# --- what the record holds to, by the same paragraphs


@pytest.mark.parametrize(
    ("paragraph", "asks", "constraint"),
    [
        ("(c)(5)(ii)(D)", "a device tells who fitted it", "lock_is_named"),
        ("(e)(3)", "each device comes off by who fitted it", "lock_comes_off_by_its_person"),
        (
            "(e)(3)(i)-(ii)",
            "the exception, with each of its elements",
            "lock_of_another_comes_off_with_reason",
        ),
        (
            "(e)(1)-(2)",
            "the steps before energy is restored are stated",
            "isolation_ended_by_name_with_steps",
        ),
    ],
)
def test_the_database_keeps_what_the_paragraph_asks_for(paragraph: str, asks: str, constraint: str) -> None:
    names = {each.name for model in (Lock, Isolation) for each in model._meta.constraints}
    assert constraint in names, f"{paragraph}: {asks}"

"""Signal words against the definitions of ANSI Z535.4, in own words.

The definitions were read on public reference pages about signal words (edition of 2007), not in the standard
itself: DANGER, death or serious injury *will* follow, kept for the most extreme; WARNING, it *could*;
CAUTION, minor or moderate injury could; NOTICE, nothing to do with injury. With several hazards on one sign
the gravest decides. That the maiming hazards of a screw press are those listed here is common practice, no
source.
"""

from __future__ import annotations

import pytest

from wearlog.equipment.models import Kind
from wearlog.lockout.cautions import hazards
from wearlog.lockout.cautions.hazards import Hazard, SignalWord, hazards_of, signal_word_of
from wearlog.lockout.cautions.queries import caution_for
from wearlog.service.models import Action

COULD_KILL_OR_MAIM = {
    "STARTS_BY_ITSELF",
    "TRAPPED_PRESSURE",
    "OWN_HEATER_CIRCUIT",
    "BELTS_AND_GEARS",
    "STORED_CHARGE",
    "FILTER_PRESSURE",
    "HOT_WORK",
    "OILY_RAGS",
}
MINOR_OR_MODERATE = {"HOT_HEAD", "SHARP_EDGES", "HEAVY_PART"}


def named() -> dict[str, Hazard]:
    return {name: value for name, value in vars(hazards).items() if isinstance(value, Hazard)}


def test_every_hazard_has_been_judged() -> None:
    assert set(named()) == COULD_KILL_OR_MAIM | MINOR_OR_MODERATE


@pytest.mark.parametrize("name", sorted(COULD_KILL_OR_MAIM))
def test_what_could_kill_or_maim_is_a_warning(name: str) -> None:
    assert named()[name].word is SignalWord.WARNING


@pytest.mark.parametrize("name", sorted(MINOR_OR_MODERATE))
def test_what_hurts_lightly_is_a_caution(name: str) -> None:
    assert named()[name].word is SignalWord.CAUTION


def test_no_shipped_text_says_danger() -> None:
    """What *will* kill is a judgement about one machine, which its owner makes."""
    assert {hazard.word.name for hazard in named().values()} == {"CAUTION", "WARNING"}


def test_the_words_stand_in_the_order_of_what_can_happen_and_notice_is_not_among_them() -> None:
    """NOTICE has nothing to do with injury, and every caution here is about one."""
    assert [word.name for word in sorted(SignalWord)] == ["CAUTION", "WARNING", "DANGER"]


def test_the_gravest_of_several_hazards_decides() -> None:
    assert signal_word_of((hazards.SHARP_EDGES, hazards.TRAPPED_PRESSURE)) is SignalWord.WARNING
    assert signal_word_of((hazards.SHARP_EDGES, hazards.HOT_HEAD)) is SignalWord.CAUTION


@pytest.mark.parametrize("kind", ["screw", "die", "barrel", "head", "belt"])
def test_opening_the_chamber_clearing_a_plug_and_work_at_belts_are_warnings(kind: str) -> None:
    for action in ("clean", "replace", "inspect", "adjust"):
        assert caution_for(action=action, kind=kind, sources=[]).signal_word == "WARNING"


def test_every_task_that_the_program_knows_has_a_word() -> None:
    for action in Action.values:
        for kind in ["", *Kind.values]:
            for on_press in (True, False):
                word = signal_word_of(hazards_of(action=action, kind=kind, on_press=on_press))
                assert word is SignalWord.WARNING or not on_press

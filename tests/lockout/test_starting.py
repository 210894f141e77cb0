"""Energy sources to start from: which are proposed for which build, and what is asked of each."""

from __future__ import annotations

import pytest

from wearlog.lockout.models import EnergyKind
from wearlog.lockout.starting import PROPOSALS, Build, proposals_for

# What a small press can get its energy from, as common practice has it (no source): words that must stand
# in the name of a proposal, and its kind.
ASKED_OF_EVERY_BUILD = [
    ("main motor", EnergyKind.ELECTRICAL),
    ("heater circuit", EnergyKind.ELECTRICAL),
    ("feed auger, started elsewhere", EnergyKind.ELECTRICAL),
    ("cake conveyor, started elsewhere", EnergyKind.ELECTRICAL),
    ("pressure", EnergyKind.PRESSURE),
    ("heat in head", EnergyKind.THERMAL),
    ("charge in the motor drive", EnergyKind.ELECTRICAL),
    ("automatic restart (thermostat, level switch, timer, power return)", EnergyKind.OTHER),
    ("tractor shaft or generator", EnergyKind.ROTATION),
    ("hopper", EnergyKind.GRAVITY),
    ("heavy screw", EnergyKind.GRAVITY),
]


@pytest.mark.parametrize("build", Build)
@pytest.mark.parametrize(("words", "kind"), ASKED_OF_EVERY_BUILD)
def test_every_build_is_asked_about_every_kind_of_energy(build: Build, words: str, kind: EnergyKind) -> None:
    assert any(words in str(each.source).lower() and each.kind == kind for each in proposals_for(build))


def test_a_twin_is_asked_about_each_barrel() -> None:
    names = [str(each.source) for each in proposals_for(Build.TWIN)]
    assert {"Main motor, second barrel", "Heater circuit, second head", "Pressure behind the second die"} <= {
        *names
    }


def test_a_cage_press_is_asked_about_its_choke_and_the_others_are_not() -> None:
    asked = {build: "choke" in {each.key for each in proposals_for(build)} for build in Build}
    assert asked == {Build.HOLE_CYLINDER: False, Build.CAGE: True, Build.TWIN: False}


@pytest.mark.parametrize("build", Build)
def test_each_proposal_asks_where_and_proposes_release_and_proof(build: Build) -> None:
    for each in PROPOSALS[build]:
        assert str(each.where).endswith("?"), "a question, that nobody takes it for an answer"
        assert str(each.release)
        assert str(each.verify)
    assert len({each.key for each in PROPOSALS[build]}) == len(PROPOSALS[build])
    assert len({str(each.source) for each in PROPOSALS[build]}) == len(PROPOSALS[build])


def test_what_is_recorded_already_is_not_proposed_again() -> None:
    left = proposals_for(Build.CAGE, recorded=["main MOTOR", "Something else"])
    assert "motor" not in {each.key for each in left}
    assert len(left) == len(PROPOSALS[Build.CAGE]) - 1


def test_no_proposal_tells_anybody_to_work_on_what_is_live() -> None:
    """Wiring and measuring are left to an electrician; pressure is never let go by the motor."""
    texts = [f"{each.release} {each.verify}" for each in PROPOSALS[Build.TWIN]]
    assert all("licensed electrician" in text for text in texts if "cabinet" in text or "measuring" in text)
    assert any("never with the motor" in text for text in texts)

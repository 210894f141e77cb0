"""Rules proposed for a new press, by the kinds of parts it has. Each is ticked or left by whoever sets it up.

The intervals are placeholders to begin with: common practice, no source. Whoever knows better changes them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

from wearlog.equipment.builds import seats_of
from wearlog.equipment.kinds import Build, Kind
from wearlog.service.models import Rule
from wearlog.service.work import Action

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise


@dataclass(frozen=True, kw_only=True)
class ProposedRule:
    """`by_place`: for each press that has a place of the kind, whether or not a part is recorded there; else
    for each part of the kind. Of the intervals those that are 0 are not used."""

    key: str
    name: _StrPromise
    action: Action
    kind: Kind
    by_place: bool = False
    every_h: int = 0
    every_kg: int = 0
    every_days: int = 0
    at_limit: bool = False

    def rule(self, build: Build) -> Rule:
        """The rule for all presses of the mill, not yet saved."""
        place = next((seat.name for seat in seats_of(build) if seat.kind == self.kind), "")
        return Rule(
            code=str(self.name),
            action=self.action,
            kind="" if self.by_place else self.kind,
            position=place if self.by_place else "",
            every_h=Decimal(self.every_h) if self.every_h else None,
            every_kg=Decimal(self.every_kg) if self.every_kg else None,
            every_days=Decimal(self.every_days) if self.every_days else None,
            at_limit=self.at_limit,
        )


PROPOSED = (
    ProposedRule(
        key="die-gauge", name=_("Gauge the die"), action=Action.MEASURE, kind=Kind.DIE, every_kg=3_000
    ),
    ProposedRule(
        key="die-limit",
        name=_("Flip or replace the die"),
        action=Action.FLIP,
        kind=Kind.DIE,
        at_limit=True,
    ),
    ProposedRule(
        key="screw-look", name=_("Look at the screw"), action=Action.INSPECT, kind=Kind.SCREW, every_h=300
    ),
    ProposedRule(
        key="screw-limit",
        name=_("Replace the screw"),
        action=Action.REPLACE,
        kind=Kind.SCREW,
        at_limit=True,
    ),
    ProposedRule(
        key="worm-gauge", name=_("Gauge the worms"), action=Action.MEASURE, kind=Kind.WORM, every_h=300
    ),
    ProposedRule(
        key="worm-limit", name=_("Replace the worm"), action=Action.REPLACE, kind=Kind.WORM, at_limit=True
    ),
    ProposedRule(
        key="choke-look", name=_("Look at the choke"), action=Action.INSPECT, kind=Kind.CHOKE, every_h=300
    ),
    ProposedRule(
        key="bars-look",
        name=_("Look at the cage bars"),
        action=Action.INSPECT,
        kind=Kind.CAGE_BAR,
        every_h=600,
    ),
    ProposedRule(
        key="magnet-clean",
        name=_("Clean the magnet"),
        action=Action.CLEAN,
        kind=Kind.MAGNET,
        by_place=True,
        every_days=7,
    ),
    ProposedRule(
        key="bearing-grease",
        name=_("Grease the bearing"),
        action=Action.LUBRICATE,
        kind=Kind.BEARING,
        by_place=True,
        every_h=500,
    ),
    ProposedRule(
        key="gearbox-look",
        name=_("Look at the gearbox oil"),
        action=Action.INSPECT,
        kind=Kind.GEARBOX,
        by_place=True,
        every_days=365,
    ),
    ProposedRule(
        key="belt-look",
        name=_("Look at the belt"),
        action=Action.INSPECT,
        kind=Kind.BELT,
        by_place=True,
        every_h=500,
    ),
)


def rules_for(build: Build, *, recorded: Iterable[str] = ()) -> list[ProposedRule]:
    """What is proposed for that build, without those whose names are in `recorded`."""
    kinds, taken = {seat.kind for seat in seats_of(build)}, {name.casefold() for name in recorded}
    return [each for each in PROPOSED if each.kind in kinds and str(each.name).casefold() not in taken]

"""The places of a new press, by its build; derived from what its kinds of parts are like. Common practice."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from wearlog.equipment.kinds import KINDS, Build, Kind


@dataclass(frozen=True)
class SeatOfBuild:
    """A place that presses of a build have. `barrel` is empty where the press has one, or for its drive."""

    name: str
    kind: Kind
    barrel: str = ""


def seats_of(build: Build) -> list[SeatOfBuild]:
    """The places of a press of that build, named in the active language: as they are stored."""
    sides = (_("left"), _("right")) if build is Build.TWIN else ("",)
    seats = []
    for kind in Kind:
        if build not in KINDS[kind].builds:
            continue
        pieces = KINDS[kind].pieces
        for side in sides if KINDS[kind].in_each_barrel else ("",):
            for piece in range(1, pieces + 1):
                words = [str(kind.label), side, str(piece) if pieces > 1 else ""]
                seats.append(SeatOfBuild(" ".join(word for word in words if word), kind, side))
    return seats

"""The builds of presses to choose from: each with its drawing, its places numbered, and a sentence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

from wearlog.equipment.builds import SeatOfBuild, seats_of
from wearlog.equipment.kinds import Build
from wearlog.people.tables import exhaustive
from wearlog.web.drawing.press import PressDrawing, Seat, draw, numbered

if TYPE_CHECKING:
    from wearlog.people.fields import Words

SENTENCES: dict[str, Words]
SENTENCES = dict(
    exhaustive(
        Build,
        {
            Build.HOLE_CYLINDER: _("Oil leaves by small holes, cake by a die."),
            Build.CAGE: _("Oil leaves between bars, cake by a choke or cone."),
            Build.TWIN: _("One drive, two barrels, two dies."),
        },
    )
)


@dataclass(frozen=True)
class BuildPicture:
    """A build to choose: its drawing without numbers (`plain`) and with them."""

    build: Build
    sentence: Words
    plain: PressDrawing
    machine: PressDrawing


def numbered_seats(build: Build) -> list[tuple[int, SeatOfBuild]]:
    """The places of the build with their numbers in the drawing, in the order of these."""
    seats = seats_of(build)
    ordered = numbered(
        [Seat(key, seat.kind.value, seat.barrel, "", seat.name) for key, seat in enumerate(seats)]
    )
    return [(number, seats[seat.key]) for number, seat in enumerate(ordered, start=1)]


def picture_of(build: Build) -> BuildPicture:
    seats = [
        Seat(number, seat.kind.value, seat.barrel, f"#s{number}", seat.name)
        for number, seat in numbered_seats(build)
    ]
    machine = draw(seats)
    plain = PressDrawing(
        height=machine.height - 90,
        lanes=machine.lanes,
        callouts=(),
        first=machine.first,
        last=machine.last,
        has=machine.has,
    )
    return BuildPicture(build, SENTENCES[build], plain, machine)

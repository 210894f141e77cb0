"""A line drawing of the press from the side, with the number of each position and a small caliper strip.

The SVG viewBox is 640 wide, so that numbers stay readable on a phone. Seed enters at the hopper and cake
leaves at the die on the right; a press with two barrels has two lanes, one above the other. Positions are
numbered in the direction of the seed, and the list next to the drawing has the same numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from wearlog.equipment.kinds import Kind
from wearlog.forecasts.items import WearFigure
from wearlog.people.tables import exhaustive
from wearlog.web.drawing.caliper import fraction_of

WIDTH = 640.0
TOP_ROW = 48.0
FIRST_LANE = 206.0
LANE = 124.0
RADIUS = 21.0
STRIP = 58.0
ROOM = 62.0
"""The smallest distance between two numbers of a row, unless there are too many to fit."""


@dataclass(frozen=True)
class Place:
    """Where the leader line of a kind's number starts: a range of x, which several of a kind divide among
    them, and y above and below the middle of the lane. `above`: the number is above a press with one barrel,
    else below. `lane`: belongs to each barrel of a twin; `seed_inlet`: belongs to the upper one; `drive`: is
    drawn half-way between them."""

    left: float
    right: float
    up: float
    down: float
    above: bool = False
    lane: bool = False
    seed_inlet: bool = False
    drive: bool = False


PLACES = exhaustive(
    Kind,
    {
        Kind.MAGNET: Place(320, 350, -64, -64, above=True, seed_inlet=True),
        Kind.SCREW: Place(372, 448, -26, 26, lane=True),
        Kind.WORM: Place(250, 450, -26, 26, lane=True),
        Kind.SHAFT: Place(226, 236, 0, 0, lane=True),
        Kind.BARREL: Place(446, 466, -38, 38, lane=True),
        Kind.CAGE_BAR: Place(430, 466, -38, 38, above=True, lane=True),
        Kind.HEAD: Place(480, 510, -44, 44, lane=True),
        Kind.HEATER: Place(476, 516, -56, 56, above=True, lane=True),
        Kind.DIE: Place(552, 566, -18, 18, lane=True),
        Kind.CHOKE: Place(500, 540, -20, 20, lane=True),
        Kind.FILTER: Place(300, 400, 70, 70),
        Kind.BEARING: Place(202, 216, -28, 28, lane=True),
        Kind.GEARBOX: Place(140, 180, -46, 46, above=True),
        Kind.BELT: Place(90, 114, -26, 26, above=True, drive=True),
        Kind.MOTOR: Place(30, 64, -48, 48, above=True, drive=True),
        Kind.OTHER: Place(150, 170, 74, 74),
    },
)
"""The kinds in the order of their numbers, in the direction of the seed."""


@dataclass(frozen=True)
class Seat:
    """A position for the drawing: the URL of its page, its label, and its wear where known."""

    key: int
    kind: str
    barrel: str
    url: str
    label: str
    wear: WearFigure | None = None


@dataclass(frozen=True)
class Callout:
    """A number with its leader line, and a caliper strip where wear is known. In viewBox units."""

    seat: Seat
    number: int
    x: float
    y: float
    from_x: float
    from_y: float
    to_y: float
    text_y: float
    strip_x: float
    strip_end: float
    strip_limit: float
    strip_y: float
    jaw_x: float | None


@dataclass(frozen=True)
class LaneDrawing:
    """One barrel: the y of its middle, the end points of its screw's flights, and its drain holes."""

    middle: float
    flights: tuple[tuple[float, float, float, float], ...]
    holes: tuple[float, ...]


@dataclass(frozen=True)
class PressDrawing:
    height: float
    lanes: tuple[LaneDrawing, ...]
    callouts: tuple[Callout, ...]
    first: float
    last: float
    has: frozenset[str] = field(default_factory=frozenset)
    """The drawing. Optional kinds without a position on the press are left out."""

    @property
    def twin(self) -> bool:
        return len(self.lanes) > 1

    @property
    def middle(self) -> float:
        """The y half-way between the lanes, where the drive is drawn."""
        return (self.first + self.last) / 2

    @property
    def gearbox_y(self) -> float:
        return self.first - 46

    @property
    def gearbox_height(self) -> float:
        """The gearbox spans all lanes."""
        return self.last - self.first + 92

    @property
    def chute_y(self) -> float:
        """The y of the chute from the upper barrel to the lower."""
        return self.first + 38

    @property
    def chute_height(self) -> float:
        return self.last - self.first - 76


def numbered(seats: Sequence[Seat]) -> list[Seat]:
    """The positions in the order of their numbers: by kind in the direction of the seed, then barrel, then
    name."""
    place = {kind: number for number, kind in enumerate(PLACES)}
    return sorted(seats, key=lambda seat: (place.get(seat.kind, 99), seat.barrel, seat.label))


def spread(wanted: Sequence[float], room: float) -> list[float]:
    """Positions in a row close to the wanted ones, in the same order, and `room` apart where the row is long
    enough."""
    if not wanted:
        return []
    edge = RADIUS + 8
    room = min(room, (WIDTH - 2 * edge) / max(len(wanted) - 1, 1))
    order = sorted(range(len(wanted)), key=lambda number: wanted[number])
    places = [0.0] * len(wanted)
    last = edge - room
    for number in order:
        last = places[number] = max(wanted[number], last + room)
    last = WIDTH - edge + room
    for number in reversed(order):
        last = places[number] = min(places[number], last - room)
    return places


def lane_drawing(middle: float) -> LaneDrawing:
    flights = tuple(
        (round(x, 1), 30.0, round(x + 16 - number * 0.6, 1), -30.0)
        for number, x in enumerate(236 + 27 * step - 0.55 * step * step for step in range(10))
    )
    return LaneDrawing(middle, flights, tuple(300 + 18.0 * step for step in range(7)))


def draw(seats: Sequence[Seat]) -> PressDrawing:
    """The drawing of a press with these positions; two barrel names make it a twin."""
    barrels = sorted({seat.barrel for seat in seats if seat.barrel})[:2]
    lanes = tuple(lane_drawing(FIRST_LANE + LANE * number) for number in range(max(len(barrels), 1)))
    first, last = lanes[0].middle, lanes[-1].middle
    bottom_row = last + 126
    ordered = numbered(seats)
    above: list[tuple[int, Seat, float, float]] = []
    below: list[tuple[int, Seat, float, float]] = []
    for number, seat in enumerate(ordered, start=1):
        like = [other for other in ordered if other.kind == seat.kind and other.barrel == seat.barrel]
        place = PLACES.get(seat.kind, PLACES[Kind.OTHER])
        x = place.left + (place.right - place.left) * (like.index(seat) + 0.5) / len(like)
        if len(barrels) == 2 and place.lane and seat.barrel:
            upward = seat.barrel == barrels[0]
        elif len(barrels) == 2:
            upward = place.seed_inlet
        else:
            upward = place.above
        if upward:
            above.append((number, seat, x, first + place.up))
        else:
            middle = (first + last) / 2 if place.drive else last
            below.append((number, seat, x, middle + place.down))
    callouts = row(above, TOP_ROW, upward=True) + row(below, bottom_row, upward=False)
    return PressDrawing(
        height=bottom_row + RADIUS + 28,
        lanes=lanes,
        callouts=tuple(sorted(callouts, key=lambda callout: callout.number)),
        first=first,
        last=last,
        has=frozenset(seat.kind for seat in seats),
    )


def row(members: Sequence[tuple[int, Seat, float, float]], y: float, *, upward: bool) -> list[Callout]:
    places = spread([x for _, _, x, _ in members], ROOM)
    callouts = []
    for (number, seat, from_x, from_y), x in zip(members, places, strict=True):
        jaw = None
        if seat.wear is not None and seat.wear.now_mm is not None:
            jaw = round(x - STRIP / 2 + STRIP * 0.88 * max(0.0, fraction_of(seat.wear, seat.wear.now_mm)), 1)
        callouts.append(
            Callout(
                seat=seat,
                number=number,
                x=round(x, 1),
                y=y,
                from_x=round(from_x, 1),
                from_y=from_y,
                to_y=y + RADIUS if upward else y - RADIUS,
                text_y=y + 8,
                strip_x=round(x - STRIP / 2, 1),
                strip_end=round(x + STRIP / 2, 1),
                strip_limit=round(x - STRIP / 2 + STRIP * 0.88, 1),
                strip_y=y - RADIUS - 9 if upward else y + RADIUS + 17,
                jaw_x=jaw,
            )
        )
    return callouts

"""The hours of a press's runs once more, slowly: what `wearlog.calc.meters` must come to.

Written from the rule in docs/decisions/hours-of-a-run.md, one run and one reading at a time. Readings are put
in order by trying every way of leaving some out; press hours come from cutting time at every start and end.
For short logs only. Instants in seconds, hours decimal.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from math import inf, nan

from wearlog.calc.meters import Remark, Source

MINUTE = 60.0
SLACK = 0.2
ROUNDING = 1e-6
CHANGE = 2.5
"""What a meter replaced without a word weighs against one reading left out."""


@dataclass(frozen=True)
class Run:
    start: float
    end: float | None
    hours_h: float | None = None
    slot: int = 0
    """0 where all barrels pressed."""

    @property
    def clock_h(self) -> float:
        return nan if self.end is None else (self.end - self.start) / 3600

    def under_way_at(self, moment: float) -> bool:
        return self.start < moment - MINUTE and (self.end is None or self.end > moment + MINUTE)

    def overlaps(self, other: Run) -> bool:
        """Whether both are under way for more than a minute."""
        ends = [run.end for run in (self, other) if run.end is not None]
        return min(ends, default=inf) - max(self.start, other.start) > MINUTE


@dataclass(frozen=True)
class Reading:
    at: float
    meter_h: float
    new_meter: bool = False


@dataclass
class RunHours:
    own_h: float
    press_h: float
    source: Source
    remark: Remark = Remark.NOTHING
    left_h: float = nan
    stretch: int = -1


@dataclass
class Stretch:
    opens: float
    closes: float
    advance_h: float
    runs: list[int] = field(default_factory=list)
    usable: bool = True
    press_h: float = 0.0
    unlogged_h: float = 0.0


@dataclass(frozen=True)
class Piece:
    start: float
    end: float
    hours: float


@dataclass(frozen=True)
class PlainReadings:
    believed: tuple[bool, ...]
    unannounced: tuple[bool, ...]
    meter: tuple[int, ...]
    """Which count each reading belongs to."""


@dataclass(frozen=True)
class PlainHours:
    runs: list[RunHours]
    stretches: list[Stretch]
    pieces: list[Piece]
    readings: PlainReadings


# --- readings ------------------------------------------------------------------------------------------


def agree(earlier: Reading, later: Reading) -> bool:
    """Whether one meter can have written both."""
    advance, clock = later.meter_h - earlier.meter_h, (later.at - earlier.at) / 3600
    return -ROUNDING <= advance <= clock + SLACK + ROUNDING


def plain_readings(readings: list[Reading]) -> PlainReadings:
    believed: list[bool] = []
    unannounced: list[bool] = []
    for count in announced_counts(readings):
        kept, begins = put_in_order(count)
        believed += kept
        unannounced += begins
    meter, number = [], 0
    for reading, begins_here in zip(readings, unannounced, strict=True):
        number += reading.new_meter or begins_here
        meter.append(number)
    return PlainReadings(tuple(believed), tuple(unannounced), tuple(meter))


def announced_counts(readings: list[Reading]) -> list[list[Reading]]:
    """The readings cut before each new meter."""
    counts: list[list[Reading]] = []
    for reading in readings:
        if reading.new_meter or not counts:
            counts.append([])
        counts[-1].append(reading)
    return counts


def put_in_order(count: list[Reading]) -> tuple[list[bool], list[bool]]:
    """Of all ways to believe some of these readings the cheapest; of equally cheap ones that in which the
    earlier readings stand. Also which readings begin a count without a word."""
    found = []
    for kept in ways(len(count)):
        begins = begun_without_a_word(count, kept)
        if begins is not None:
            left_out = [not flag for flag in kept]
            found.append((sum(left_out) + CHANGE * sum(begins), left_out, begins))
    _, left_out, begins = min(found)
    return [not flag for flag in left_out], begins


def ways(length: int, in_a_row: int = 0) -> Iterator[list[bool]]:
    """Every way to believe some of so many readings, with at most two in a row left out."""
    if length == 0:
        yield []
        return
    for rest in ways(length - 1):
        yield [True, *rest]
    if in_a_row < 2:
        for rest in ways(length - 1, in_a_row + 1):
            yield [False, *rest]


def begun_without_a_word(count: list[Reading], kept: list[bool]) -> list[bool] | None:
    """Which readings begin a count, if these are kept. None where that can't be: none is kept, or one is left
    out between two that don't agree."""
    begins = [False] * len(count)
    places = [place for place, keep in enumerate(kept) if keep]
    for earlier, later in pairwise(places):
        if not agree(count[earlier], count[later]):
            if later > earlier + 1:
                return None
            begins[later] = True
    return begins if places else None


# --- runs ----------------------------------------------------------------------------------------------


def plain_hours(runs: list[Run], readings: list[Reading], *, by_meter: bool) -> PlainHours:
    judged = plain_readings(readings)
    found = [claim(run) for run in runs]
    closing = closing_boundaries(runs, readings, judged)
    together = parties(runs, closing)
    for party in together:
        share_press_hours(party, runs, found)
    stretches = stretches_of(readings, judged, runs, closing)
    for number, stretch in enumerate(stretches):
        for place in stretch.runs:
            found[place].stretch = number
        log_by_the_meter(stretch, runs, found)
        count_the_rest(stretch, found, by_meter=by_meter)
    pieces = [piece for party in together for piece in pieces_of(party, runs, found)]
    return PlainHours(found, stretches, pieces, judged)


def claim(run: Run) -> RunHours:
    if run.end is None:
        return RunHours(nan, nan, Source.GOES_ON)
    if run.hours_h is not None:
        return RunHours(run.hours_h, run.hours_h, Source.WRITTEN)
    return RunHours(run.clock_h, run.clock_h, Source.CLOCK)


def boundaries(runs: list[Run], readings: list[Reading], judged: PlainReadings) -> list[int]:
    """The readings that are believed and at which no run is under way, by their places."""
    return [
        place
        for place, reading in enumerate(readings)
        if judged.believed[place] and not any(run.under_way_at(reading.at) for run in runs)
    ]


def closing_boundaries(runs: list[Run], readings: list[Reading], judged: PlainReadings) -> list[int | None]:
    """For each run the first boundary that does not lie more than a minute before its end."""
    closing: list[int | None] = []
    for run in runs:
        later = [
            place
            for place in boundaries(runs, readings, judged)
            if run.end is not None and readings[place].at >= run.end - MINUTE
        ]
        closing.append(later[0] if later else None)
    return closing


def stretches_of(
    readings: list[Reading], judged: PlainReadings, runs: list[Run], closing: list[int | None]
) -> list[Stretch]:
    stretches = []
    for opens, closes in pairwise(boundaries(runs, readings, judged)):
        if judged.meter[opens] != judged.meter[closes]:
            continue
        first, last = readings[opens], readings[closes]
        stretch = Stretch(first.at, last.at, last.meter_h - first.meter_h)
        stretch.runs = [place for place, where in enumerate(closing) if where == closes]
        clock = (last.at - first.at) / 3600
        stood_still = bool(stretch.runs) and stretch.advance_h < ROUNDING
        stretch.usable = not stood_still and stretch.advance_h <= clock + SLACK + ROUNDING
        stretches.append(stretch)
    return stretches


def parties(runs: list[Run], closing: list[int | None]) -> list[list[int]]:
    """Runs that overlap one after the other, those of different stretches apart."""
    found: list[list[int]] = []
    for place, run in enumerate(runs):
        met = [party for party in found if any(run.overlaps(runs[other]) for other in party)]
        found = [party for party in found if party not in met]
        found.append([place, *(other for party in met for other in party)])
    return [
        [place for place in party if closing[place] == where]
        for party in found
        for where in {closing[place] for place in party}
    ]


def share_press_hours(party: list[int], runs: list[Run], found: list[RunHours]) -> None:
    """Give each its share of what these runs come to."""
    total = sum(found[place].own_h for place in party if runs[place].end is not None)
    together = sum(piece.hours for piece in pieces_of(party, runs, found))
    for place in party:
        if runs[place].end is not None and total > 0:
            found[place].press_h = found[place].own_h * together / total


def pieces_of(party: list[int], runs: list[Run], found: list[RunHours]) -> list[Piece]:
    """Time cut at every start and end; in each piece the barrel counts that worked more."""
    worked = [(runs[place], runs[place].end, found[place].own_h) for place in party]
    ended = [(run, end, hours) for run, end, hours in worked if end is not None]
    if len(ended) == 1:
        run, end, hours = ended[0]
        return [Piece(run.start, end, hours)]
    barrels = {run.slot for run, _, _ in ended if run.slot} or {1}
    cuts = sorted({moment for run, end, _ in ended for moment in (run.start, end)})
    pieces = []
    for begin, stop in pairwise(cuts):
        of_barrel = dict.fromkeys(barrels, 0.0)
        for run, end, hours in ended:
            if run.start <= begin and stop <= end:
                for barrel in barrels if run.slot == 0 else {run.slot}:
                    of_barrel[barrel] += hours * (stop - begin) / (end - run.start)
        pieces.append(Piece(begin, stop, max(of_barrel.values())))
    return pieces


def log_by_the_meter(stretch: Stretch, runs: list[Run], found: list[RunHours]) -> None:
    at_the_reading = [
        place
        for place in stretch.runs
        if runs[place].hours_h is None
        and abs(runs[place].end - stretch.closes) <= MINUTE
        and not any(runs[place].overlaps(other) for other in runs if other is not runs[place])
    ]
    if not stretch.usable:
        for place in at_the_reading:
            found[place].remark = Remark.STOOD_STILL if stretch.advance_h < ROUNDING else Remark.RAN_AHEAD
        return
    longest = max((runs[place].clock_h for place in at_the_reading), default=0.0)
    chosen = [place for place in at_the_reading if runs[place].clock_h == longest]
    if len(chosen) != 1:
        return
    run = found[chosen[0]]
    run.left_h = stretch.advance_h - sum(found[place].press_h for place in stretch.runs if place != chosen[0])
    if run.left_h <= ROUNDING:
        run.remark = Remark.NONE_LEFT
        return
    run.source = Source.METER
    run.own_h = run.left_h
    if run.left_h > longest + SLACK + ROUNDING:
        run.own_h = longest + SLACK
        run.remark = Remark.HELD_DOWN
    run.press_h = run.own_h


def count_the_rest(stretch: Stretch, found: list[RunHours], *, by_meter: bool) -> None:
    """What the runs come to, scaled where the press counts by its meter, and what no run was logged for."""
    stretch.press_h = sum(found[place].press_h for place in stretch.runs)
    if not stretch.usable:
        return
    if by_meter and stretch.press_h > stretch.advance_h + ROUNDING:
        share = stretch.advance_h / stretch.press_h
        for run in (found[place] for place in stretch.runs):
            run.own_h *= share
            run.press_h *= share
            run.source = Source.METER
            run.remark = Remark.SCALED
        stretch.press_h = stretch.advance_h
    stretch.unlogged_h = max(stretch.advance_h - stretch.press_h, 0.0)

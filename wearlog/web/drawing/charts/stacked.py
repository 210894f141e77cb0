"""What a tonne costs on each press: bars of textures by kind of cost, from 0 on one axis.

A row for each press in Vega-Lite, 320 units wide for a phone and 640 for a desk. Each kind is named below its
bar where that is widest, and wherever else there is room."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from wearlog.calc import units
from wearlog.compare.costs.kinds import Sort
from wearlog.web.drawing.charts.layers import axes, round_steps, rule, rules, symbols, texts, whole
from wearlog.web.drawing.charts.render import LINE, Spec, chart_svg
from wearlog.web.drawing.charts.room import CHARACTER, Room, Word
from wearlog.web.drawing.charts.side_by_side import NARROW, WIDE, SideBySide, shortened
from wearlog.web.drawing.charts.textures import CROSSED, DOTTED, HATCHED, LINED, PLAIN, bar

SIDE, TOP, BOTTOM = 8, 4, 28
ROW, NAME, BAR_TOP, BAR_HEIGHT, BELOW = 76, 11, 22, 24, 58
"""The height of a press's row, and where in it its name, its bar and the words below stand, in units."""
TEXTURES: Mapping[Sort, int | None] = {
    Sort.PARTS: PLAIN,
    Sort.WORK: None,
    Sort.MINDING: CROSSED,
    Sort.ENERGY: HATCHED,
    Sort.LOST_OIL: DOTTED,
    Sort.STAND_STILL: LINED,
}


@dataclass(frozen=True)
class Stack:
    """Of a press, in the reader's units: its kinds of cost in order, and its whole cost in words. A cost
    below 0 (more oil than better runs gave) is not drawn."""

    name: str
    costs: tuple[tuple[Sort, float], ...]
    total: str

    @property
    def pieces(self) -> list[tuple[Sort, float, float]]:
        """Each kind with where its piece begins and how long it is."""
        found, begin = [], 0.0
        for sort, cost in self.costs:
            if cost > 0:
                found.append((sort, begin, cost))
                begin += cost
        return found


def stacked(
    stacks: Sequence[Stack], words: Mapping[Sort, str], system: str, *, highest: float, label: str
) -> SideBySide:
    """highest: the largest sum that the axis has room for."""
    wide, narrow = (
        chart_svg(spec(stacks, words, width, system, highest=highest), label=label)
        for width in (WIDE, NARROW)
    )
    return SideBySide(wide, narrow)


def spec(
    stacks: Sequence[Stack], words: Mapping[Sort, str], width: int, system: str, *, highest: float
) -> Spec:
    plot, height = width - 2 * SIDE, ROW * len(stacks)
    top = highest * 1.02 or 1.0
    values, digits = round_steps(0.0, top, most=4 if width == NARROW else 7)

    def x(value: float) -> float:
        return round(plot * value / top, 2)

    bars = [
        row
        for number, stack in enumerate(stacks)
        for sort, begin, cost in stack.pieces
        for row in bar(x(begin), ROW * number + BAR_TOP, x(cost), TEXTURES[sort], height=BAR_HEIGHT)
    ]
    numbers = Room(-SIDE, plot + SIDE)
    below: list[Word] = []
    for value in values:
        word = units.show_number(value, digits, system)
        below += numbers.first_free([word], [(x(value), height + 17)], group="soft")
    layers = [
        axes((0, top), values, (0, 1), {}),
        rules("grid", [rule(x(value), 0, x(value), height) for value in values if value], color=LINE),
        rules("zero", [rule(0, 0, 0, height, width=1.5)]),
        symbols("stacks", bars, size=4, stroke=1.25),
        *texts([*_names(stacks, plot), *_kinds(stacks, words, plot, top), *below]),
    ]
    return whole(plot, height, (SIDE, SIDE, TOP, BOTTOM), layers)


def _names(stacks: Sequence[Stack], plot: float) -> Iterator[Word]:
    for row, stack in enumerate(stacks):
        yield "bold_from", shortened(stack.name, plot - len(stack.total) * CHARACTER - 8), 4, ROW * row + NAME
        yield "bold_to", stack.total, plot - 2, ROW * row + NAME


def _kinds(stacks: Sequence[Stack], words: Mapping[Sort, str], plot: float, top: float) -> Iterator[Word]:
    """The widest piece of each kind is named first, so that each kind has a name if any place has room."""
    room = Room(-SIDE, plot + SIDE)
    pieces = [
        (cost, row, sort, begin) for row, stack in enumerate(stacks) for sort, begin, cost in stack.pieces
    ]
    pieces.sort(key=lambda piece: -piece[0])
    widest = {sort: place for place, (_cost, _row, sort, _begin) in reversed(list(enumerate(pieces)))}
    for place in [*widest.values(), *(place for place in range(len(pieces)) if place not in widest.values())]:
        cost, row, sort, begin = pieces[place]
        middle = plot * (begin + cost / 2) / top
        yield from room.first_free([words[sort]], [(middle, ROW * row + BELOW)])

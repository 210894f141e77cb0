"""Hours per tonne of the presses on one axis: as pressed, and below it at common crops with the range.

A row for each press, in Vega-Lite, 320 units wide for a phone and 640 for a desk. All rates begin at 0."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.columns import figure_words, headline, per_ton
from wearlog.compare.grounds import PressFigure, against_words
from wearlog.web.drawing.charts.layers import axes, round_steps, rule, rules, symbols, texts, whole
from wearlog.web.drawing.charts.render import INK, LINE, RANGE, SHEET, Spec, chart_svg
from wearlog.web.drawing.charts.room import CHARACTER, LINE_HEIGHT, Room, Word

NARROW, WIDE = 320, 640
SIDE, TOP, BOTTOM = 8, 4, 28
ROW, NAME, PRESSED, COMMON = 72, 11, 34, 57
"""The height of a press's row, and where in it its name and both of its marks stand, in units."""
BESIDE = 12
"""Between a mark and its words."""
Place = Callable[[float], float]
"""Where a rate stands across the plot, in its units."""


@dataclass(frozen=True)
class SideBySide:
    """The same picture for a desk and for a phone."""

    wide: SafeString
    narrow: SafeString


@dataclass(frozen=True)
class Rates:
    """Of a press, in the reader's units, each with its wordings, the fullest first. None: there is none."""

    name: str
    pressed: float
    pressed_words: tuple[str, ...]
    common: float | None
    common_words: tuple[str, ...]
    low: float | None
    high: float | None


def side_by_side(
    figures: Sequence[PressFigure], system: str = "", *, beside: Sequence[PressFigure] = ()
) -> SideBySide | None:
    """The pictures in the reader's units; None where no press has a rate. beside: presses that are drawn
    elsewhere, on the same scale."""
    known = [figure for figure in figures if figure.crude is not None]
    if not known:
        return None
    shown = [_rates(figure, system) for figure in known]
    label = f"{headline(system)}: {'; '.join(_sentence(figure, system) for figure in known)}."
    elsewhere = [_rates(figure, system) for figure in beside if figure.crude is not None]
    highest = _highest([*shown, *elsewhere])
    wide, narrow = (
        chart_svg(spec(shown, width, system, highest=highest), label=label) for width in (WIDE, NARROW)
    )
    return SideBySide(wide, narrow)


def _rates(figure: PressFigure, system: str) -> Rates:
    us = units.is_us(system)
    pressed, common, span = figure_words(figure, system)
    ranged = [] if figure.low is None or figure.against else [f"{common} ({span})"]
    return Rates(
        name=figure.press_name,
        pressed=per_ton(figure.crude, us) or 0.0,
        pressed_words=(_("as pressed %(rate)s") % {"rate": pressed}, pressed),
        common=per_ton(figure.standardised, us),
        common_words=(
            *(_on_its_ground(figure, words) for words in ranged),
            *ranged,
            _on_its_ground(figure, common),
            common,
        ),
        low=per_ton(figure.low, us),
        high=per_ton(figure.high, us),
    )


def _on_its_ground(figure: PressFigure, rate: str) -> str:
    """`45.00 at the crops all ran`, or the crops that it shares with one other press."""
    if figure.against:
        return _("%(rate)s %(ground)s") % {"rate": rate, "ground": against_words(figure)}
    return _("%(rate)s at the crops all ran") % {"rate": rate}


def _sentence(figure: PressFigure, system: str) -> str:
    """`P1: 40.00, 45.00 at the crops all ran`; why there is no such rate where there is none."""
    pressed, common, _span = figure_words(figure, system)
    same_mix = figure.why if figure.standardised is None else _on_its_ground(figure, common)
    return f"{figure.press_name}: {pressed}, {same_mix}"


def _highest(rates: Sequence[Rates]) -> float:
    return max(value for one in rates for value in (one.pressed, one.common, one.high) if value is not None)


def spec(shown: Sequence[Rates], width: int, system: str, *, highest: float | None = None) -> Spec:
    """The axis below with lines up, and for each press its name, its two marks and their words. highest: the
    largest rate that the axis has room for (None: of these)."""
    plot, height = width - 2 * SIDE, ROW * len(shown)
    highest = _highest(shown) if highest is None else highest
    values, digits = round_steps(0.0, highest * 1.06, most=4 if width == NARROW else 7)
    top = highest * 1.06 or 1.0
    words = {value: units.show_number(value, digits, system) for value in values}

    def x(value: float) -> float:
        return round(plot * value / top, 2)

    layers = [
        axes((0, top), values, (0, 1), {}),
        rules("grid", [rule(x(value), 0, x(value), height) for value in values if value], color=LINE),
        rules("rows", [rule(0, ROW * row, plot, ROW * row) for row in range(1, len(shown))], color=LINE),
        rules("zero", [rule(0, 0, 0, height, width=1.5)]),
        *_ranges(shown, x),
        symbols("points", list(_marks(shown, x)), size=50, stroke=1.5),
        *texts([*_words(shown, x, plot), *_below(words, x, plot, height)]),
    ]
    return whole(plot, height, (SIDE, SIDE, TOP, BOTTOM), layers)


def _ranges(shown: Sequence[Rates], x: Place) -> Iterator[Spec]:
    bars, ends = [], []
    for row, rates in enumerate(shown):
        if rates.low is None or rates.high is None:
            continue
        low, high, y = x(rates.low), x(rates.high), ROW * row + COMMON
        bars.append(rule(low, y, high, y, width=14))
        ends += [rule(low, y, high, y, width=1.5)]
        ends += [rule(end, y - 7, end, y + 7, width=1.5) for end in (low, high)]
    if bars:
        yield rules("range", bars, color=RANGE)
        yield rules("ends", ends)


def _marks(shown: Sequence[Rates], x: Place) -> Iterator[dict[str, object]]:
    for row, rates in enumerate(shown):
        top = ROW * row
        yield {"x": x(rates.pressed), "y": top + PRESSED, "shape": "diamond", "fill": SHEET}
        if rates.common is not None:
            yield {"x": x(rates.common), "y": top + COMMON, "shape": "circle", "fill": INK}


def _words(shown: Sequence[Rates], x: Place, plot: float) -> Iterator[Word]:
    room = Room(-SIDE, plot + SIDE)
    for row, rates in enumerate(shown):
        top = ROW * row
        yield "bold_from", shortened(rates.name, plot), 4, top + NAME
        marks = [(rates.pressed, rates.pressed, PRESSED, rates.pressed_words, "words")]
        if rates.common is not None:
            low = rates.common if rates.low is None else rates.low
            high = rates.common if rates.high is None else rates.high
            marks.append((low, high, COMMON, rates.common_words, "strong"))
        for low, high, y, wordings, group in marks:
            yield from _beside(room, wordings, x(low), x(high), top + y, group)


def _beside(
    room: Room, wordings: Sequence[str], low: float, high: float, y: float, group: str
) -> Iterator[Word]:
    """The fullest wording that has room right or left of what lies between `low` and `high`; the shortest in
    any case."""
    room.taken.append((low - 9, y - LINE_HEIGHT / 2, high + 9, y + LINE_HEIGHT / 2))
    for words in wordings:
        half = len(words) * CHARACTER / 2
        for middle in (high + BESIDE + half, low - BESIDE - half):
            found = room.take(words, middle, y)
            if found is not None:
                yield group, words, found, y
                return
    yield group, wordings[-1], high + BESIDE + len(wordings[-1]) * CHARACTER / 2, y


def _below(words: Mapping[float, str], x: Place, plot: float, height: float) -> Iterator[Word]:
    room = Room(-SIDE, plot + SIDE)
    for value, word in words.items():
        yield from room.first_free([word], [(x(value), height + 17)], group="soft")


def shortened(name: str, plot: float) -> str:
    """A name that has room in so many units."""
    most = int(plot / CHARACTER)
    return name if len(name) <= most else f"{name[: most - 1]}…"

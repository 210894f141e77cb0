"""The throughput of every press in one small picture: its last crop of this season, against how it began.

320 units wide. Only numbers that the press's own page explains stand here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.history.record import Record
from wearlog.web.drawing.charts.layers import rule, rules, symbols, texts, whole
from wearlog.web.drawing.charts.render import INK, STEEL, Spec, chart_svg
from wearlog.web.drawing.charts.room import CHARACTER, Word
from wearlog.web.drawing.charts.throughput import RatePoint, pace_of, season_points

WIDTH, ROW, TOP, LINE = 304.0, 84.0, 38.0, 36.0
"""Of each press: its row, where its line begins below two lines of words, and how high that is."""
MOST_PRESSES = 8
FIRST_S = 14 * 86400.0
"""How the season began are its first two weeks of the crop."""


@dataclass(frozen=True)
class PressPace:
    """The points of the crop pressed last, and the rates in kg/h: at first (over the first two weeks) and
    last. Empty `points`: nothing yet this season."""

    press_id: int
    name: str
    crop: str
    points: tuple[RatePoint, ...]
    first_kg_per_h: float
    last_kg_per_h: float


@dataclass(frozen=True)
class PaceRow:
    """A line of the table, in words."""

    press_id: int
    press: str
    crop: str
    first: str
    last: str


@dataclass(frozen=True)
class Paces:
    svg: SafeString
    rows: tuple[PaceRow, ...]
    more: int


def press_pace(record: Record, press_id: int, name: str) -> PressPace:
    points = season_points(record, press_id)
    if not points:
        return PressPace(press_id, name, "", (), 0.0, 0.0)
    crop = points[-1].crop
    own = tuple(point for point in points if point.crop == crop)
    begun = [point for point in own if point.start < own[0].start + FIRST_S]
    return PressPace(press_id, name, crop, own, pace_of(begun), own[-1].kg_per_h)


def paces(record: Record, *, system: str) -> Paces | None:
    """The picture of the presses in service, up to eight; None without any."""
    presses = [press for press in record.presses.values() if press.retired_on is None]
    if not presses:
        return None
    shown = [press_pace(record, press.id, press.label) for press in presses[:MOST_PRESSES]]
    rows = tuple(
        PaceRow(
            pace.press_id,
            pace.name,
            pace.crop,
            units.show_rate(pace.first_kg_per_h if pace.points else None, system),
            units.show_rate(pace.last_kg_per_h if pace.points else None, system),
        )
        for pace in shown
    )
    said = "; ".join(
        _("%(press)s %(rate)s %(crop)s") % {"press": row.press, "rate": row.last, "crop": row.crop}
        for row in rows
        if row.crop
    )
    label = _("Throughput of every press this season. %(rates)s") % {"rates": said}
    return Paces(chart_svg(spec(shown, rows), label=label), rows, len(presses) - len(shown))


def spec(shown: Sequence[PressPace], rows: Sequence[PaceRow]) -> Spec:
    """A row for each press: name and rate, crop and how it began, and below them the line from 0."""
    instants = [at for pace in shown for point in pace.points for at in (point.start, point.end)]
    begin, end = min(instants, default=0.0), max(instants, default=1.0)
    highest = max(
        (max(point.kg_per_h for point in pace.points) for pace in shown if pace.points), default=1.0
    )
    straight, lines, dots, words = [], [], [], list[Word]()
    for number, (pace, row) in enumerate(zip(shown, rows, strict=True)):
        top = ROW * number
        foot = top + TOP + LINE
        straight.append(rule(0, foot, WIDTH, foot, width=1.5))
        words.append(("bold_from", _cut(pace.name, row.last), 0, top + 8))
        if not pace.points:
            words.append(("from", _("nothing yet this season"), 0, top + 26))
            continue

        def place(point: RatePoint, foot: float = foot) -> tuple[float, float]:
            x = WIDTH * (point.middle - begin) / (end - begin)
            return round(x, 1), round(foot - LINE * point.kg_per_h / highest, 1)

        height = round(foot - LINE * pace.first_kg_per_h / highest, 1)
        straight.append(rule(0, height, WIDTH, height, dash=[1.5, 4]))
        words.append(("bold_to", row.last, WIDTH, top + 8))
        words.append(("from", pace.crop, 0, top + 26))
        words.append(("to", _("at first %(rate)s") % {"rate": row.first.partition(" ")[0]}, WIDTH, top + 26))
        for _stretch, of in groupby(pace.points, key=lambda point: point.stretch):
            places = [place(point) for point in of]
            path = "M" + "L".join(f"{x:g},{y:g}" for x, y in places)
            lines.append({"x": 0, "y": 0, "shape": path, "fill": "transparent"})
        x, y = place(pace.points[-1])
        dots.append({"x": x, "y": y, "shape": "circle", "fill": INK})
    layers = [
        rules("rules", straight),
        *([symbols("firm", lines, size=4, stroke=2.25, color=STEEL)] if lines else []),
        *([symbols("points", dots)] if dots else []),
        *texts(words),
    ]
    return whole(WIDTH, ROW * len(shown) - 8, (8, 8, 4, 4), layers)


def _cut(name: str, beside: str) -> str:
    most = int(WIDTH / CHARACTER) - len(beside) - 1
    return name if len(name) <= most else f"{name[: most - 1]}…"

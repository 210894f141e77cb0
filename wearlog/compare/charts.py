"""A small bar chart of hours per tonne: the coordinates of its bars, for a template to draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.columns import per_ton, shown
from wearlog.compare.grounds import PressFigure, against_words

WIDTH = 280
ROW = 56
LEFT, RIGHT = 2, 64


@dataclass(frozen=True)
class Bar:
    """One press: its texts, the bar of its crude rate and, under it, the mark of the standardised one.
    Lengths are in the units of the drawing; `tick`, `low` and `high` are None where there is no such rate."""

    label: str
    words: str
    text_y: int
    bar_y: int
    middle_y: int
    length: float
    words_x: float
    tick: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class BarChart:
    width: int
    height: int
    title: str
    description: str
    bars: tuple[Bar, ...]


def per_tonne_chart(
    figures: Sequence[PressFigure], system: str = "", *, beside: Sequence[PressFigure] = ()
) -> BarChart | None:
    """Bars of crude hours per tonne with marks of the standardised ones; None where no press has a rate.
    beside: presses that are drawn elsewhere on the same scale."""
    us = units.is_us(system)
    known = [figure for figure in figures if figure.crude is not None]
    if not known:
        return None
    reach = max(
        value
        for figure in (*known, *beside)
        for value in (figure.crude, figure.standardised, figure.high)
        if value
    )
    room = WIDTH - LEFT - RIGHT

    def place(per_tonne: float | None) -> float | None:
        return None if per_tonne is None else round(LEFT + room * min(per_tonne / reach, 1.0), 1)

    bars, sentences = [], []
    for number, figure in enumerate(known):
        top = number * ROW
        crude = shown(per_ton(figure.crude, us), 2, system)
        rate = shown(per_ton(figure.standardised, us), 2, system)
        end = place(figure.crude) or LEFT
        bars.append(
            Bar(
                label=figure.press_name,
                words=crude,
                text_y=top + 16,
                bar_y=top + 22,
                middle_y=top + 44,
                length=round(end - LEFT, 1),
                words_x=round(end + 6, 1),
                tick=place(figure.standardised),
                low=place(figure.low),
                high=place(figure.high),
            )
        )
        same_mix = figure.why
        if figure.against:
            same_mix = _("%(rate)s %(ground)s") % {"rate": rate, "ground": against_words(figure)}
        elif figure.standardised is not None:
            same_mix = _("%(rate)s at the crops all ran") % {"rate": rate}
        sentences.append(f"{figure.press_name}: {crude}, {same_mix}")
    return BarChart(
        width=WIDTH,
        height=len(known) * ROW,
        title=_("Hours per short ton of each press") if us else _("Hours per tonne of each press"),
        description="; ".join(sentences) + ".",
        bars=tuple(bars),
    )

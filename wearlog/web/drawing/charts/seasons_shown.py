"""The charts of hours per tonne from season to season as the comparison shows them: one for each press, on
one scale, with the sentence above them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.utils.safestring import SafeString
from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.columns import headline, per_ton
from wearlog.compare.over_seasons import OverSeasons, PressSeasons, SeasonRate
from wearlog.web.drawing.charts.by_season import BySeason, SeasonPoint, spec
from wearlog.web.drawing.charts.layers import round_steps
from wearlog.web.drawing.charts.render import chart_svg


@dataclass(frozen=True)
class PressPicture:
    """`ground` says at which crops, where this differs from press to press."""

    press: PressSeasons
    svg: SafeString
    ground: str


@dataclass(frozen=True)
class SeasonRow:
    """A line of the table: the cells in words, and the addresses of what stands behind three of them."""

    press: str
    season: str
    crude: str
    rate: str
    span: str
    seed: str
    crude_at: str
    rate_at: str
    seed_at: str


Behind = Callable[[str, PressSeasons, SeasonRate], str]
"""The address behind a figure (`crude`, `rate` or `seed`) of a press in a season; empty for none."""


@dataclass(frozen=True)
class SeasonPictures:
    ground: str
    sentence: str
    presses: tuple[PressPicture, ...]
    rows: tuple[SeasonRow, ...]
    more: int


def season_pictures(
    over: OverSeasons | None, system: str, behind: Behind = lambda _figure, _press, _season: ""
) -> SeasonPictures | None:
    """The pictures in the reader's units; None without a run that tells hours per tonne."""
    if over is None or not over.presses:
        return None
    us = units.is_us(system)
    highest = max(max(one.shown, one.high or 0.0) for press in over.presses for one in press.ran)
    reach = (per_ton(highest, us) or 0.0) * 1.12
    values, digits = round_steps(0.0, reach, most=4)
    step = values[1] if len(values) > 1 else reach
    top = max(reach, step)
    sizes = {value: units.show_number(value, digits, system) for value in values}
    names = [short(name) for name in over.names]
    presses = []
    for press in over.presses:
        points = [_point(place, one, system) for place, one in enumerate(press.seasons) if one is not None]
        drawn = BySeason(points=points, seasons=names, top=top, sizes=sizes, none=_("no runs"))
        ground = _ground(press.on)
        label = f"{headline(system)}: {_sentence(press, system)}, {ground}."
        presses.append(
            PressPicture(press, chart_svg(spec(drawn), label=label), ground if not over.on else "")
        )
    return SeasonPictures(
        ground=_ground(over.on) if over.on else "",
        sentence="; ".join(_sentence(press, system) for press in over.presses) + ".",
        presses=tuple(presses),
        rows=tuple(_row(press, one, system, behind) for press in over.presses for one in press.ran),
        more=over.more,
    )


def short(season: str) -> str:
    """`25/26` for `2025/26`; a calendar year as it is."""
    return season[2:] if "/" in season else season


def _ground(on: tuple[str, ...]) -> str:
    """`on linseed and rapeseed`; `as pressed` where no crop ran in every season."""
    return _("on %(crops)s") % {"crops": get_text_list(list(on), _("and"))} if on else _("as pressed")


def _number(per_tonne: float, system: str) -> str:
    return units.show_per_tonne(per_tonne, system).partition(" ")[0]


def _point(place: int, one: SeasonRate, system: str) -> SeasonPoint:
    us = units.is_us(system)
    return SeasonPoint(
        place=place,
        value=per_ton(one.shown, us) or 0.0,
        low=per_ton(one.low, us),
        high=per_ton(one.high, us),
        word=_number(one.shown, system),
        as_pressed=one.rate is None,
    )


def _sentence(press: PressSeasons, system: str) -> str:
    """`North press 62.3 in 2023/24, 63.9 in 2026/27`."""
    first, last = press.ran[0], press.ran[-1]
    values = {
        "press": press.press_name,
        "rate": _number(first.shown, system),
        "season": first.season,
        "last": _number(last.shown, system),
        "now": last.season,
    }
    if first is last:
        return _("%(press)s %(rate)s in %(season)s") % values
    return _("%(press)s %(rate)s in %(season)s, %(last)s in %(now)s") % values


def _row(press: PressSeasons, one: SeasonRate, system: str, behind: Behind) -> SeasonRow:
    span = units.NOTHING
    if one.low is not None and one.high is not None:
        span = _("%(low)s to %(high)s") % {"low": _number(one.low, system), "high": _number(one.high, system)}
    return SeasonRow(
        press=press.press_name,
        season=one.season,
        crude=_number(one.crude, system),
        rate=units.NOTHING if one.rate is None else _number(one.rate, system),
        span=span,
        seed=units.show_mass(one.tonnes * 1000, system),
        crude_at=behind("crude", press, one),
        rate_at="" if one.rate is None else behind("rate", press, one),
        seed_at=behind("seed", press, one),
    )

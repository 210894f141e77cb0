"""The charts of a part's wear as its page shows them: a panel and a sentence for each edge, on one scale."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.utils.safestring import SafeString
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.forecasts.along import GaugeAlong, Turning, WearAlong, wear_along
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.outlook import Outlook
from wearlog.history.cache import VersionCache
from wearlog.people.dates import written
from wearlog.web.drawing.charts.against_seed import Mark, Panel, spec
from wearlog.web.drawing.charts.layers import round_steps
from wearlog.web.drawing.charts.render import chart_svg
from wearlog.words.actions import noun_of
from wearlog.words.days import NEAR
from wearlog.words.kinds import with_edge
from wearlog.words.tasks import basis_words

ABOVE_LIMIT, FURTHEST_OUT = 0.22, 0.8
"""How far the picture goes past the limit at least, and at most, in parts of what may wear away."""
UNKNOWN_KG = 10_000.0
"""Where the axis ends while nothing is known."""
MOST_REMARKS = 3


@dataclass(frozen=True)
class EdgeChart:
    """`along` has the numbers of the table; `crops` are those that the edge took, most first."""

    along: WearAlong
    state: str
    sentence: str
    svg: SafeString


@dataclass(frozen=True)
class PartCharts:
    """`axes` says what runs along and up: `mm over t of seed`."""

    axes: str
    edges: Mapping[str, EdgeChart]


_CHARTS: VersionCache[tuple[object, ...], PartCharts | None] = VersionCache("wear charts", most=128)


def part_charts(edges: Edges, part_id: int, *, name: str, system: str) -> PartCharts | None:
    """The charts of all edges of a part as of the record's day, made once for each version of the log,
    language and system of units; None for a part without a new size and a limit. `name`: what it is
    called."""
    record = edges.record
    if part_id not in record.parts:
        return None
    key = (part_id, name, system, get_language(), record.as_of, record.zone)
    return _CHARTS.get(key, lambda: _charts(edges, part_id, name, system))


def _charts(edges: Edges, part_id: int, name: str, system: str) -> PartCharts | None:
    record = edges.record
    outlook = Outlook(record)
    names = record.types[record.parts[part_id].type_id].edge_names
    found = [wear_along(edges, outlook, part_id, edge) for edge in names]
    retired = record.parts[part_id].retired_on is not None
    alongs = [_ended(along) if retired else along for along in found if along is not None]
    if not alongs:
        return None
    scale = Scale(alongs, system)
    charts = {}
    for along in alongs:
        words = EdgeWords(along, system, record.as_of, retired=retired)
        label = _("Wear of %(part)s against seed. %(sentence)s") % {
            "part": with_edge(name, along.edge),
            "sentence": words.sentence,
        }
        svg = chart_svg(spec(panel(along, scale, words)), label=label)
        charts[along.edge] = EdgeChart(along, words.state, words.sentence, svg)
    return PartCharts(scale.words, charts)


def _ended(along: WearAlong) -> WearAlong:
    """The edge of a retired part, to which nothing comes any more."""
    return along if along.passed else replace(along, ahead=(), limit=None)


class Scale:
    """What both axes span, for all edges of a part, in the reader's units."""

    def __init__(self, alongs: Sequence[WearAlong], system: str) -> None:
        new_mm, limit_mm = alongs[0].new_mm, alongs[0].limit_mm
        ends = [point.seed_kg for along in alongs for point in (*along.so_far[-1:], *along.ahead[-1:])]
        ends += [along.now_kg for along in alongs]
        self.right_kg = max(ends) * 1.02 or UNKNOWN_KG
        far = [_share(along, mm) for along in alongs for mm in _sizes(along)]
        top = 1 + min(max([ABOVE_LIMIT, *(share - 0.95 for share in far)]), FURTHEST_OUT)
        bottom = max(min([0.0, *(share - 0.05 for share in far)]), -FURTHEST_OUT / 2) - 0.03
        self.bottom_mm = new_mm + bottom * (limit_mm - new_mm)
        self.top_mm = new_mm + top * (limit_mm - new_mm)
        kg, unit = _axis_unit(self.right_kg, system)
        values, digits = round_steps(0.0, self.right_kg / kg)
        self.ticks = [(value * kg, units.show_number(value, digits, system)) for value in values]
        mm = float(units.MM["inch"]) if units.is_us(system) else 1.0
        low, high = sorted((self.bottom_mm / mm, self.top_mm / mm))
        values, digits = round_steps(low, high, most=7)
        self.sizes = {value * mm: units.show_number(value, digits, system) for value in values}
        length = "in" if units.is_us(system) else "mm"
        self.words = _("%(size)s over %(seed)s of seed") % {"size": length, "seed": unit}


def _axis_unit(right_kg: float, system: str) -> tuple[float, str]:
    """The kilograms of the axis's unit, and its word: the one in which masses of this size are written."""
    if units.is_us(system):
        large = right_kg / float(units.KG["lb"]) >= 19999.5
        return float(units.KG["short_ton" if large else "lb"]), units.unit_word(
            "short_ton" if large else "lb"
        )
    return (1000.0, "t") if right_kg >= 1000 else (1.0, "kg")


def _sizes(along: WearAlong) -> Iterator[float]:
    yield along.new_mm
    if along.now is not None:
        yield along.now.high_mm
    for gauge in along.gauges:
        if not gauge.counts_little and not gauge.beside:
            yield gauge.value_mm


def _share(along: WearAlong, mm: float) -> float:
    return (mm - along.new_mm) / (along.limit_mm - along.new_mm)


def panel(along: WearAlong, scale: Scale, words: EdgeWords) -> Panel:
    seed: dict[str, float] = {}
    for one in along.stretches:
        seed[one.crop] = seed.get(one.crop, 0.0) + one.to_kg - one.from_kg
    return Panel(
        along=along,
        right_kg=scale.right_kg,
        bottom_mm=scale.bottom_mm,
        top_mm=scale.top_mm,
        ticks=scale.ticks,
        sizes=scale.sizes,
        crops=sorted((crop for crop in seed if crop), key=lambda crop: (-seed[crop], crop)),
        limit=_("limit %(size)s") % {"size": words.bare(along.limit_mm)},
        at_limit=words.at_limit(),
        now=words.now(),
        marks=[words.mark(turning) for turning in along.turnings if turning.action or turning.back_on],
        remarks=words.remarks(),
    )


class EdgeWords:
    """The words of one edge: beside its picture and in it. Within the picture sizes stand without a unit,
    which the heading names."""

    def __init__(self, along: WearAlong, system: str, today: date, *, retired: bool) -> None:
        self.along, self.system, self.today, self.retired = along, system, today, retired

    @property
    def state(self) -> str:
        if not self.along.used:
            return _("not used yet")
        if self.retired:
            return _("retired")
        return _("at work") if self.along.in_place else _("resting")

    def bare(self, mm: float) -> str:
        return units.show_length(mm, self.system).rpartition(" ")[0]

    def mass(self, kg: float) -> str:
        return units.show_mass(kg, self.system)

    def day(self, on: date) -> str:
        return written(on, "j M" if abs(on - self.today) < NEAR else "j M Y")

    @property
    def sentence(self) -> str:
        along = self.along
        parts = []
        if along.since is not None:
            parts.append(
                _("Counted from its rebuilding on %(day)s.") % {"day": written(along.since, "j M Y")}
            )
        if along.now is None:
            parts.append(_("Nothing yet: two gauges, with some tonnes between them, give a first line."))
        elif not along.used:
            parts.append(_("Not used yet."))
        else:
            parts.append(
                _("%(seed)s so far, about %(size)s (%(low)s to %(high)s).")
                % {
                    "seed": self.mass(along.now_kg),
                    "size": units.show_length(along.now.mid_mm, self.system),
                    "low": self.bare(along.now.low_mm),
                    "high": self.bare(along.now.high_mm),
                }
            )
        return " ".join([*parts, *self._at_limit()])

    def _at_limit(self) -> Iterator[str]:
        along = self.along
        if along.now is None or (self.retired and along.limit is None):
            return
        if along.limit is None:
            yield _("The limit is too far off to tell.")
            return
        values = {
            "limit": units.show_length(along.limit_mm, self.system),
            "seed": self.mass(along.limit.mid_kg),
            "range": self._range(),
            "basis": basis_words(along.basis),
        }
        if along.passed:
            yield _("It went past the limit of %(limit)s at about %(seed)s (%(range)s), %(basis)s.") % values
        else:
            yield _("It meets the limit of %(limit)s at about %(seed)s (%(range)s), %(basis)s.") % values

    def _range(self, *, bare: bool = False) -> str:
        """The seed from which to which the limit is reached. `bare`: without a unit, where both have the same
        one as the middle."""
        limit = self.along.limit
        assert limit is not None
        low = self.mass(limit.low_kg)
        if limit.high_kg is None:
            return _("%(low)s or more") % {"low": low}
        high = self.mass(limit.high_kg)
        middle = self.mass(limit.mid_kg)
        if low.partition(" ")[2] == high.partition(" ")[2] == middle.partition(" ")[2]:
            low = low.partition(" ")[0]
            high = high.partition(" ")[0] if bare else high
        return _("%(low)s to %(high)s") % {"low": low, "high": high}

    def at_limit(self) -> tuple[str, ...]:
        if self.along.limit is None or self.along.now is None:
            return ()
        seed = self.mass(self.along.limit.mid_kg)
        return _("limit at %(seed)s") % {"seed": seed}, f"({self._range(bare=True)})"

    def now(self) -> tuple[str, ...]:
        along = self.along
        if along.now is None or not along.used:
            return ()
        values = {"size": self.bare(along.now.mid_mm)}
        about = _("about %(size)s") % values
        if along.in_place:
            return _("now about %(size)s") % values, about
        return (
            _("at the end about %(size)s") if self.retired else _("resting, about %(size)s")
        ) % values, about

    def mark(self, turning: Turning) -> Mark:
        day = self.day(turning.on)
        if turning.action:
            noun = noun_of(turning.action)
            words: tuple[str, ...] = (f"{noun} {day}", noun)
        else:
            values = {
                "edge": turning.to_edge,
                "day": day,
                "back": "" if turning.back_on is None else self.day(turning.back_on),
            }
            if turning.to_edge:
                words = (
                    _("to %(edge)s %(day)s, back %(back)s") % values,
                    _("to %(edge)s %(day)s") % values,
                    _("to %(edge)s") % values,
                )
            else:
                words = _("off %(day)s, back %(back)s") % values, _("off %(day)s") % values, _("off")
        return Mark(turning.seed_kg, bool(turning.action), words)

    def remarks(self) -> dict[int, tuple[str, ...]]:
        """For the last few gauges that count little, and for one taken with a pin."""
        odd = [gauge for gauge in self.along.gauges if gauge.counts_little][-MOST_REMARKS:]
        found = {gauge.id: self._doubt(gauge) for gauge in odd}
        pins = [gauge for gauge in self.along.gauges if gauge.bound]
        if pins:
            found[pins[-1].id] = (_("by pin"),)
        return found

    def _doubt(self, gauge: GaugeAlong) -> tuple[str, ...]:
        return _("%(size)s, counts little") % {"size": self.bare(gauge.value_mm)}, _("counts little")

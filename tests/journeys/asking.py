"""Five questions of an owner, put to the pages of a mill and answered again from its rows.

Each answer must be two touches away from Today: a menu and its entry, or a link and a link. What is reckoned
again, and how near it must come:

- the press that costs most per tonne, at the crops and kinds of cost that all have: each kind on each press
  by `costs`, within 2 %. Steel wears by plain least squares here and by a model there: the page's figure must
  lie among those of rates up to 12 % higher or lower;
- the lots: what each earned, cost and left over by `costs`, within the same, and that the best is the best;
- the dies to make, by `dies`: within one;
- what to order, by `orders`: numbers exactly, days of need within five days, for dies within three weeks;
- the screw to stop: where a plain line through its weeks has its lowest cost, within two standard errors and
  a fifth. What the page says is drawn to what other screws showed, and tells the die and the barrel apart.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from html import unescape

import numpy as np
import pytest
from django.test import Client
from django.utils import timezone

from tests.journeys import dies, orders
from tests.journeys.costs import Costs
from tests.journeys.rows import Mill, Row, as_day, number, number_or_none, read
from wearlog.compare.shopping.needs import Need, needs
from wearlog.forecasts.memory.queries import due_items, forecast_of_day

STEEL = ("die", "screw")
"""Parts whose rates of wear are learned from gauges."""
SAID = r"(?:Stop it|Now or later|Go on)\."
"""Not where the page itself says that it can't be said."""
PART = 25
"""So many lots are on the first part of the list."""
PACES = (0.88, 0.94, 1.0, 1.06, 1.12)
MONEY = r"[-−]?[\d\s]*\d\.\d\d"


@dataclass
class Asked:
    """An owner in front of a mill. Reads it once."""

    page: Client

    @cached_property
    def today(self) -> date:
        return timezone.localdate()

    @cached_property
    def mill(self) -> Mill:
        return read(self.today)

    @cached_property
    def costs(self) -> Costs:
        return Costs(self.mill)

    @cached_property
    def paced(self) -> list[Costs]:
        """The costs at rates of wear that might be true as well."""
        return [self.costs if pace == 1 else Costs(self.mill, pace=pace) for pace in PACES]

    def links(self, address: str) -> set[str]:
        return set(re.findall(r'href="(/[^"#?]*)', self.page.get(address).content.decode()))

    def answer(self, address: str) -> str:
        """The text of a page that two touches from Today lead to."""
        first = self.links("/")
        assert address in first or any(
            address in self.links(one) for one in sorted(first) if one == "/worth/"
        )
        html = self.page.get(address).content.decode()
        return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html[html.index("<main") :])))

    def name(self, press: object) -> str:
        row = self.mill.presses[press]
        return str(row["name"] or row["code"])


def amount(cell: str) -> float:
    return float(re.sub(r"\s", "", cell).replace("−", "-"))


def among(cell: float, values: Sequence[float]) -> bool:
    """Whether a figure is one of these ways of reckoning, or lies between them, within 2 % and ten cents."""
    return min(values) - 0.02 * abs(min(values)) - 0.1 <= cell <= max(values) + 0.02 * abs(max(values)) + 0.1


# -------- which press costs most per tonne, at the same crop?


def dearest_press(asked: Asked) -> None:
    text = asked.answer("/costs/")
    runs = asked.costs.of_season(asked.costs.latest)
    ways = [
        {asked.name(press): kinds for press, kinds in costs.of_presses(runs).items()} for costs in asked.paced
    ]
    found = ways[PACES.index(1.0)]
    together = {name: [sum(way[name].values()) for way in ways] for name in found}
    names = "|".join(map(re.escape, found))
    said = re.search(rf"({names}) costs most, ([\d.]+) EUR/t; ({names}) least, ([\d.]+) EUR/t", text)
    assert said is not None
    assert all(max(together[said[1]]) > min(sums) for sums in together.values())
    assert all(min(together[said[3]]) < max(sums) for sums in together.values())
    assert among(float(said[2]), together[said[1]])
    assert among(float(said[4]), together[said[3]])
    table = text[text.index("Costs (EUR/t)") :]
    columns = re.findall(names, table[: table.index("Together")])[: len(found)]
    cells = rf"((?:{MONEY} ){{{len(found)}}})"
    for kind in next(iter(found.values())):
        line = re.search(rf"(?:lost )?{kind} {cells}", table, re.IGNORECASE)
        assert line is not None, kind
        for name, cell in zip(columns, line[1].split(), strict=True):
            own = [way[name][kind] for way in (ways if kind in STEEL else [found])]
            assert among(amount(cell), own), (kind, name, cell, own)
    line = re.search(rf"Together {cells}", table)
    assert line is not None
    for name, cell in zip(columns, line[1].split(), strict=True):
        assert among(amount(cell), together[name]), (name, cell, together[name])


# -------- which lot made money?


def lots_that_made_money(asked: Asked) -> None:
    text = asked.answer("/costs/")
    runs = asked.costs.of_season(asked.costs.latest)
    kinds, _mix = asked.costs.basket(runs)
    of_lot: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for run in runs:
        if run["lot"]:
            of_lot[str(run["lot"]), str(run["crop"])].append(run)
    table = text[text.index("Left over in all (EUR)") :]
    shown, lines = {}, 0
    for (lot, crop), own in of_lot.items():
        cells = rf"({MONEY}|–) ({MONEY}|–) ({MONEY}|–) ({MONEY}|–)"
        line = re.search(rf"{re.escape(lot)} {crop} [\d.]+ {cells}", table)
        if line is None:
            continue
        lines += 1
        earned, _bought, cost, left = (None if cell == "–" else amount(cell) for cell in line.groups())
        ways = [costs.of_lot(own, kinds) for costs in asked.paced]
        assert (earned or 0.0) == pytest.approx(ways[0][0], abs=0.02), lot
        assert cost is not None
        assert among(cost, [way[1] for way in ways]), (lot, cost, ways)
        lefts = [way[2] for way in ways if way[2] is not None]
        assert (left is None) == (not lefts), lot
        if left is not None:
            away = 0.02 * cost + 0.1
            assert min(lefts) - away <= left <= max(lefts) + away, (lot, left, lefts)
            shown[lot] = left, lefts
    assert lines == min(len(of_lot), PART)
    assert shown
    first = re.search(r"\(EUR\) (\S+) ", table)
    assert first is not None
    assert first[1] == max(shown, key=lambda lot: shown[lot][0])
    assert all(max(shown[first[1]][1]) >= min(lefts) for _left, lefts in shown.values())


# -------- when do I stop this screw?


def screw_to_stop(asked: Asked) -> str:
    """Holds the first screw of which the page says where a tonne costs least against a plain line; its mark,
    or nothing where none has such an answer."""
    text = asked.answer("/worth/pays/")
    mill = asked.mill
    assert any("/stop/" in link for link in asked.links("/worth/pays/"))
    for part in mill.parts.values():
        if mill.types[part["part_type_id"]]["kind"] != "screw":
            continue
        mark = re.escape(str(part["code"]))
        said = re.search(rf"{mark} \([^)]*\) {SAID} A tonne costs least .*? at about ([\d.]+) t", text)
        open_ones = [fitting for fitting in mill.fittings[part["id"]] if fitting["removed_at"] is None]
        if said is None or not open_ones:
            continue
        lowest = _lowest(mill, part, open_ones[0])
        if lowest is not None:
            least, most = lowest
            assert 0.8 * least <= float(said[1]) <= 1.25 * most, (part["code"], said[0], lowest)
            return str(part["code"])
    return ""


def _lowest(mill: Mill, part: Row, fitting: Row) -> tuple[float, float] | None:
    """Tonnes at which a tonne costs least, by the slope of the loss over the weeks of each harvest and crop
    at today's prices, two standard errors to either side; None where it may be that the loss does not
    grow."""
    position = mill.positions[fitting["position_id"]]
    oil, hour = mill.price("oil_kg", mill.today) or 0.0, mill.price("stand_still_h", mill.today) or 0.0
    age, points = 0.0, defaultdict(list)
    for run, share in mill.worked(fitting):
        kg = number(run["seed_kg"]) * share
        if kg > 0 and run["oil_kg"] is not None and not run["purge"]:
            week = mill.day(number(run["a"])).toordinal() // 7
            loss = -1000 * number(run["oil_kg"]) / number(run["seed_kg"]) * oil
            loss += 1000 * number(run["hours"]) / number(run["seed_kg"]) * hour
            group = mill.season(mill.day(number(run["a"]))), str(run["crop"])
            points[group, week].append((age / 1000, loss))
        age += kg * mill.through(run, position)
    means = [(group, *np.mean(values, axis=0)) for (group, _week), values in points.items()]
    groups = sorted({group for group, _age, _loss in means})
    free = len(means) - len(groups) - 1
    if free < 3:
        return None
    design = np.array([[a, *(own == group for group in groups)] for own, a, _ in means], dtype=float)
    losses = np.array([loss for *_rest, loss in means])
    found = np.linalg.lstsq(design, losses, rcond=None)[0]
    spread = float(((losses - design @ found) ** 2).sum()) / free
    slope, error = float(found[0]), float((spread * np.linalg.inv(design.T @ design)[0, 0]) ** 0.5)
    if slope <= 2 * error:
        return None
    wage = mill.price("labour_h", mill.today) or 0.0
    work = sum(
        (number_or_none(job["cost"]) or 0.0) + wage * (number_or_none(job["labour_h"]) or 0.0)
        for job in mill.services
        if job["part_id"] == part["id"]
    )
    price = number_or_none(mill.types[part["part_type_id"]]["unit_cost"]) or 0.0
    least, most = ((2 * (price + work) / each) ** 0.5 for each in (slope + 2 * error, slope - 2 * error))
    return least, most


# -------- how many dies do I make before the season?


def dies_reckoned(asked: Asked) -> dict[object, dies.Dies]:
    of_crops = dies.shares(asked.mill)
    found = {}
    for key, type_ in asked.mill.types.items():
        wear = asked.costs.wear[key]
        if type_["kind"] == "die" and wear is not None and wear.paces:
            own = dies.dies_of(asked.mill, type_, wear, of_crops)
            if own is not None:
                found[key] = own
    return found


def dies_to_make(asked: Asked, reckoned: Mapping[object, dies.Dies]) -> None:
    text = asked.answer("/worth/pays/")
    assert reckoned
    for key, own in reckoned.items():
        code = re.escape(str(asked.mill.types[key]["code"]))
        said = re.search(
            rf"{code} \(bore [\d.]+ mm\) (?:Make (\d+) dies?\.|([A-Z][^.]*)\.).*?Planned seed ([\d.]+) t",
            text,
        )
        assert said is not None, code
        assert float(said[3]) == pytest.approx(own.planned_kg / 1000, rel=0.02)
        assert abs(int(said[1] or 0) - own.make) <= 1, (code, said[0], own.make)


# -------- what do I order today?


def what_to_order(asked: Asked, reckoned: Mapping[object, dies.Dies]) -> None:
    text = asked.answer("/order/")
    mill = asked.mill
    book = asked.page.get("/order/?download=csv").content.decode()
    lines = list(csv.DictReader(io.StringIO(book)))
    by_code = {str(row["code"]): row for row in mill.types.values()}
    _on_the_page(text, lines)
    known = forecast_of_day(as_of=asked.today)
    items = due_items(as_of=asked.today)
    worn = {item.part_id for item in items if item.action == "replace" and item.state in ("overdue", "due")}
    by_type: dict[object, list[Need]] = defaultdict(list)
    for need in needs(known.ground.record, items):
        by_type[need.part.type_id].append(need)
    for code, type_ in by_code.items():
        own = [line for line in lines if line["part_type"] == code]
        for line in own:
            _bought_as_recorded(mill, type_, line, len(orders.shelf(mill, type_, worn)))
        if type_["id"] in reckoned:
            _dies_for_the_season(mill, own, reckoned[type_["id"]])
            continue
        spares = [line for line in own if line["reason"] == "spares"]
        beyond = orders.beyond_those_kept(mill, type_, worn)
        assert sum(int(line["count"]) for line in spares) == max(0, -beyond), code
        assert all(line["order_by"] == asked.today.isoformat() for line in spares)
        days = [
            (need.days.early, need.days.mid, need.days.late)
            for need in by_type[type_["id"]]
            if need.days.early is not None
        ]
        _in_time(
            orders.days_of_need(mill, type_, days, max(0, beyond)), [one for one in own if one not in spares]
        )


def _on_the_page(text: str, lines: list[dict[str, str]]) -> None:
    """The page has the same lines, the earliest first, and says first what to order by today."""
    dated = [line["order_by"] for line in lines if line["order_by"]]
    assert dated == sorted(dated)
    spoken = re.search(r"To be ordered today: (.*?)\. ", text)
    today: dict[str, int] = defaultdict(int)
    for line in lines:
        assert f"{line['count']} × " in text
        if line["order_by"] and line["order_by"] <= timezone.localdate().isoformat():
            today[line["part_type"]] += int(line["count"])
    assert (spoken is not None) == bool(today)
    for code, count in today.items():
        assert spoken is not None
        assert re.search(rf"{count} × (?:[a-z]+ )?{re.escape(code)}", spoken[1])


def _bought_as_recorded(mill: Mill, type_: Row, line: dict[str, str], on_shelf: int) -> None:
    count, lead = int(line["count"]), number_or_none(type_["lead_time_days"])
    if line["needed_on"] and lead is not None:
        assert as_day(line["needed_on"]) - as_day(line["order_by"]) == timedelta(days=math.ceil(lead))
        assert as_day(line["needed_on"]) >= mill.today
    elif line["needed_on"]:
        assert line["order_by"] == ""
    assert line["supplier"] == type_["supplier"]
    price = number_or_none(type_["unit_cost"])
    assert (line["cost"] == "") == (price is None)
    assert price is None or float(line["cost"]) == pytest.approx(count * price)
    bar = number_or_none(type_["bar_mm"])
    assert (line["bar_mm"] == "") == (bar is None)
    assert bar is None or float(line["bar_mm"]) == count * (bar + (number_or_none(type_["kerf_mm"]) or 0.0))
    assert int(line["on_shelf"]) == on_shelf
    assert int(line["on_order"]) == orders.on_order(type_)


def _dies_for_the_season(mill: Mill, lines: list[dict[str, str]], reckoned: dies.Dies) -> None:
    assert abs(sum(int(line["count"]) for line in lines) - reckoned.make) <= 1
    for line in lines:
        needed = reckoned.used_up(0.1) or max(reckoned.daily)
        assert abs((as_day(line["needed_on"]) - needed).days) <= 21
        assert as_day(line["needed_on"]) > mill.today


def _in_time(reckoned: list[date], lines: list[dict[str, str]]) -> None:
    """Each line is for parts that are needed from its day on, within a month; five days may lie between two
    ways of reckoning, which may also part at the end of the list."""
    listed = [as_day(line["needed_on"]) for line in lines for _piece in range(int(line["count"]))]
    assert abs(len(listed) - len(reckoned)) <= 1
    if len(listed) != len(reckoned):
        last = max(listed[-1:] + reckoned[-1:])
        assert (last - timezone.localdate()).days > 330
    for line_day, own in zip(listed, reckoned, strict=False):
        assert -5 <= (own - line_day).days <= 35
    firsts = [as_day(line["needed_on"]) for line in lines]
    for first in firsts:
        assert min(abs((first - own).days) for own in reckoned) <= 5

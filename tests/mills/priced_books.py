"""Logbooks of two small mills with prices, of which the truth is known: one that writes everything down, and
one that leaves out much. Their last run is of the day before yesterday, whatever day it is.

Two (or three) presses run rapeseed for seventy days and sunflower for seventy, in turn; dies wear by the
crop that is theirs, screws by both, and a worn screw leaves more oil in the cake. Each book is the same at
each run but for its days.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path

import numpy as np

Row = dict[str, object]

DAYS = 700
CAMPAIGN = 70
"""Days for which one crop is pressed."""
KG_A_DAY = {"rapeseed": 230, "sunflower": 200}
OIL = {"rapeseed": 0.33, "sunflower": 0.30}
LOST_PER_MM = 0.06
"""Kilograms of oil of each kilogram of seed that a screw worn by a millimetre leaves in the cake."""
DIE = {"rapeseed": "D5", "sunflower": "D10"}
NEW = {"D5": 5.0, "D10": 10.0, "SC": 60.0}
LIMIT = {"D5": 5.4, "D10": 10.5, "SC": 59.0}
MM_PER_T = {
    "D5": {"rapeseed": 0.04},
    "D10": {"sunflower": 0.055},
    "SC": {"rapeseed": 0.012, "sunflower": 0.02},
}


@dataclass
class Part:
    code: str
    type: str
    pace: float
    worn: float = 0.0
    edge: str = ""
    since: str = ""


@dataclass
class Book:
    """Writes a logbook day by day. rough: gauges are few, oil is often not weighed, the third press pressed
    one crop alone, energy is metered on one press, and a type has no price."""

    today: date
    rough: bool
    tables: dict[str, list[Row]] = field(default_factory=lambda: defaultdict(list))
    made: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    on: dict[tuple[str, str], Part] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.first = self.today - timedelta(days=DAYS + 1)
        self.dice = np.random.default_rng(12 if self.rough else 11)
        self.presses = ["A", "B", "C"] if self.rough else ["A", "B"]

    def write(self, folder: Path) -> Path:
        self._setting()
        for press in self.presses:
            self._put_on(press, "screw", "SC", self.first)
        for number in range(DAYS):
            day = self.first + timedelta(days=number)
            crop = ("rapeseed", "sunflower")[number // CAMPAIGN % 2]
            if number % CAMPAIGN == 0:
                for press in self.presses:
                    self._change_die(press, DIE[self._crop(press, crop)], day)
            if day.weekday() != 6:
                for press in self.presses:
                    self._day(press, self._crop(press, crop), day)
        self._stock()
        self._plan()
        folder.mkdir(parents=True, exist_ok=True)
        for name, rows in self.tables.items():
            columns = list(dict.fromkeys(column for row in rows for column in row))
            with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as stream:
                writer = csv.DictWriter(stream, columns, restval="")
                writer.writeheader()
                writer.writerows(rows)
        return folder

    def _crop(self, press: str, crop: str) -> str:
        return "rapeseed" if press == "C" else crop

    # -------- what is there

    def _setting(self) -> None:
        first = (self.first - timedelta(days=30)).isoformat()
        self.tables["mill"] = [{"name": "Test mill", "time_zone": "Europe/Vienna", "currency": "EUR"}]
        self.tables["presses"] = [{"press": name, "name": f"Press {name}"} for name in self.presses]
        self.tables["positions"] = [
            {"press": name, "position": kind, "kind": kind}
            for name in self.presses
            for kind in ("screw", "die", "belt")
        ]
        self.tables["crops"] = [{"crop": crop} for crop in OIL]
        die = {"kind": "die", "edges": 2, "dimension": "bore", "lead_time_days": 14, "unit_cost": 60}
        turned = {"supplier": "the turner", "bar_mm": 40, "kerf_mm": 2.5}
        self.tables["part_types"] = [
            {"part_type": "D5", "size_mm": 5, "for_crops": "rapeseed", "min_spares": 1, **die, **turned},
            {"part_type": "D10", "size_mm": 10, "for_crops": "sunflower", **die, **turned},
            {
                "part_type": "SC", "kind": "screw", "dimension": "flight", "lead_time_days": 40,
                "unit_cost": 500, "min_spares": 0 if self.rough else 1, "supplier": "the maker",
            },
            {
                "part_type": "belt", "kind": "belt", "expected_life_h": 5000, "lead_time_days": 5.5,
                "unit_cost": "" if self.rough else 40,
            },
        ]  # fmt: skip
        for row in self.tables["part_types"]:
            code = str(row["part_type"])
            row |= {
                "edges": row.get("edges", 1),
                "new_mm": NEW.get(code, ""),
                "limit_mm": LIMIT.get(code, ""),
            }
        self.tables["rules"] = [
            {"rule": "die at limit", "action": "flip", "kind": "die", "at_limit": "yes", "lead_days": 7},
            {
                "rule": "screw at limit",
                "action": "replace",
                "kind": "screw",
                "at_limit": "yes",
                "lead_days": 14,
            },
        ]
        prices = {"oil_kg": 3.0, "cake_kg": 0.4, "labour_h": 28, "stand_still_h": 18, "energy_kwh": 0.3}
        bought = {"seed_kg rapeseed": 0.5} | ({} if self.rough else {"seed_kg sunflower": 0.45})
        self.tables["prices"] = [
            {"item": item, "from_on": first, "price": price} for item, price in (prices | bought).items()
        ]
        for press in self.presses:
            self._fit(press, "belt", Part(f"belt {press}", "belt", 1.0), self.first, hour=5)
            self.tables["parts"].append({"part": f"belt {press}", "part_type": "belt"})

    def _stock(self) -> None:
        for type_, many in (("D5", 2), ("D10", 1)):
            for _each in range(many):
                self._new(type_)
        ordered = (self.today - timedelta(days=3)).isoformat()
        if self.rough:
            self.tables["part_orders"] = [
                {"ref": "o1", "part_type": "D10", "count": 1, "ordered_on": ordered, "supplier": "the turner"}
            ]

    def _plan(self) -> None:
        for number in range(DAYS // CAMPAIGN, (DAYS + 366) // CAMPAIGN):
            crop = ("rapeseed", "sunflower")[number % 2]
            start = self.first + timedelta(days=number * CAMPAIGN)
            for press in self.presses:
                own = self._crop(press, crop)
                self.tables["plan"].append(
                    {
                        "press": press,
                        "crop": own,
                        "start_on": start.isoformat(),
                        "end_on": (start + timedelta(days=CAMPAIGN - 1)).isoformat(),
                        "seed_kg": KG_A_DAY[own] * CAMPAIGN * 6 // 7,
                    }
                )

    # -------- parts

    def _new(self, type_: str) -> Part:
        self.made[type_] += 1
        part = Part(f"{type_}-{self.made[type_]:02}", type_, float(np.exp(0.1 * self.dice.standard_normal())))
        self.tables["parts"].append({"part": part.code, "part_type": type_})
        return part

    def _fit(self, press: str, kind: str, part: Part, day: date, *, hour: int) -> None:
        self._take_off(press, kind, day, hour)
        part.since = self._stamp(day, hour)
        self.on[press, kind] = part
        self.tables["fittings"].append(
            {"part": part.code, "edge": part.edge, "press": press, "position": kind, "fitted_at": part.since}
        )

    def _take_off(self, press: str, kind: str, day: date, hour: int) -> None:
        before = self.on.get((press, kind))
        if before is not None:
            for row in self.tables["fittings"]:
                if row["part"] == before.code and row["fitted_at"] == before.since:
                    row["removed_at"] = self._stamp(day, hour)

    def _retire(self, part: Part, day: date) -> None:
        for row in self.tables["parts"]:
            if row["part"] == part.code:
                row |= {"retired_on": day.isoformat(), "retired_because": "worn"}

    def _put_on(self, press: str, kind: str, type_: str, day: date) -> None:
        part = self._new(type_)
        part.edge = "A" if kind == "die" else ""
        self._fit(press, kind, part, day, hour=5)

    def _change_die(self, press: str, type_: str, day: date) -> None:
        """For a new campaign: the die that sat there goes into the drawer with its worn edge, for good."""
        before = self.on.get((press, "die"))
        if before is not None and before.type == type_:
            return
        if before is not None:
            self._gauge(before, day, hour=4)
        self._put_on(press, "die", type_, day)
        if before is not None:
            self._retire(before, day)
        self._work(press, "die", self.on[press, "die"], day, "replace", hours=0.6)

    # -------- days

    def _day(self, press: str, crop: str, day: date) -> None:
        kg = float(round(KG_A_DAY[crop] * (1 + 0.05 * self.dice.standard_normal())))
        screw, die = self.on[press, "screw"], self.on[press, "die"]
        for part in (screw, die):
            part.worn += part.pace * MM_PER_T[part.type][crop] * kg / 1000
        oil = kg * (OIL[crop] - LOST_PER_MM * screw.worn + 0.004 * self.dice.standard_normal())
        hours = round(kg / 18 * (1 + 0.03 * self.dice.standard_normal()), 2)
        weighed = not self.rough or self.dice.random() > 0.2
        self.tables["runs"].append(
            {
                "ref": f"{press}{day:%y%m%d}",
                "press": press,
                "crop": crop,
                "lot": f"{crop[:2].upper()}-{day:%y%m}",
                "started_at": self._stamp(day, 6),
                "hours_h": hours,
                "seed_kg": kg,
                "oil_kg": round(oil, 1) if weighed else "",
                "cake_kg": round(kg - oil - 0.02 * kg, 1) if weighed else "",
                "energy_kwh": round(kg * 0.06, 1) if press == "A" or not self.rough else "",
            }
        )
        if day.weekday() == 0:
            slow = 1.2 if press == "B" else 0.4
            self._work(press, "belt", None, day, "inspect", hours=slow)
        if day.weekday() == 3 and (not self.rough or day.day <= 14):
            self._gauge(screw, day, hour=22)
            self._gauge(die, day, hour=22)
        if die.worn >= abs(LIMIT[die.type] - NEW[die.type]):
            self._next_edge(press, die, day + timedelta(days=1))
        if screw.worn >= 1.0:
            self._gauge(screw, day + timedelta(days=1), hour=3)
            self._put_on(press, "screw", "SC", day + timedelta(days=1))
            self._retire(screw, day + timedelta(days=1))
            self._work(press, "screw", self.on[press, "screw"], day + timedelta(days=1), "replace", hours=2.0)

    def _next_edge(self, press: str, die: Part, day: date) -> None:
        self._gauge(die, day, hour=3)
        if die.edge == "A":
            turned = Part(die.code, die.type, float(np.exp(0.1 * self.dice.standard_normal())), edge="B")
            self._fit(press, "die", turned, day, hour=5)
            self._work(press, "die", turned, day, "flip", hours=0.5)
            return
        self._put_on(press, "die", die.type, day)
        self._retire(die, day)
        self._work(press, "die", self.on[press, "die"], day, "replace", hours=0.6)

    def _gauge(self, part: Part, day: date, *, hour: int) -> None:
        sign = 1 if LIMIT[part.type] > NEW[part.type] else -1
        value = NEW[part.type] + sign * part.worn + 0.01 * self.dice.standard_normal()
        self.tables["measurements"].append(
            {
                "ref": f"m{len(self.tables['measurements'])}",
                "measured_at": self._stamp(day, hour),
                "part": part.code,
                "edge": part.edge,
                "value_mm": round(value, 3),
            }
        )

    def _work(
        self, press: str, kind: str, part: Part | None, day: date, action: str, *, hours: float
    ) -> None:
        self.tables["services"].append(
            {
                "ref": f"s{len(self.tables['services'])}",
                "done_at": self._stamp(day, 5),
                "press": press,
                "position": kind,
                "part": "" if part is None else part.code,
                "edge": "" if part is None else part.edge,
                "action": action,
                "labour_h": hours,
                "downtime_h": round(1.5 * hours, 2),
            }
        )

    @staticmethod
    def _stamp(day: date, hour: int) -> str:
        return datetime.combine(day, time(hour)).isoformat()

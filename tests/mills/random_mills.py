"""Random mills for property tests: twins, meter changes, both clock changes, awkward texts."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import zip_longest
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

Row = dict[str, str]
AWKWARD = [
    "=1+1",
    "+3 bags",
    "-1",
    "@home",
    "'tis",
    "''",
    'say "no"',
    "a,b",
    "two\r\nlines",
    "lone\rreturn",
    "\tindented",
    "\r=1+1",
    "'\t",
    "\n",
    " ",
]
ZONES = {
    # The hours around both clock changes of 2025, in UTC, from each zone's published rules.
    "Europe/Vienna": ("2025-03-30T00:00", "2025-10-26T00:00"),
    "America/New_York": ("2025-03-09T06:00", "2025-11-02T05:00"),
    "Australia/Lord_Howe": ("2025-04-05T14:00", "2025-10-04T14:00"),  # by half an hour
    "Etc/GMT-1": ("2025-03-30T00:00", "2025-10-26T00:00"),
    "Asia/Kathmandu": ("2025-03-30T00:00", "2025-10-26T00:00"),
}
letters = st.characters(exclude_categories=["Cs", "Cc"])
texts = st.just("") | st.sampled_from(AWKWARD) | st.text(letters, max_size=12)
codes = st.text(letters, min_size=1, max_size=8) | st.sampled_from([text for text in AWKWARD if text.strip()])
tags = st.from_regex(r"[=+\-@']?[a-zäßñ0-9_.,\"]{1,6}", fullmatch=True)
amounts = (
    st.decimals(0, 999_999_999, places=6).map(str)
    | st.integers(0, 5000).map(str)
    | st.sampled_from(["0", "0.10"])
)
positive = st.decimals("0.000001", 999_999, places=6).map(str)
seeds = st.decimals(0, 10_000_000, places=6).map(str) | st.sampled_from(["0", "400"])
sizes = st.decimals("0.000001", 5000, places=6).map(str) | st.sampled_from(["5", "0.10"])
meters = st.decimals(0, 999_999, places=6).map(str) | st.sampled_from(["0", "0.10"])
shares = st.decimals(0, 1, places=3).map(str)
days = st.dates(datetime(2020, 1, 1, tzinfo=UTC).date(), datetime(2030, 1, 1, tzinfo=UTC).date()).map(str)


def maybe(values: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.just("") | values


@st.composite
def mills(draw: Any) -> dict[str, list[Row]]:
    """A whole logbook as text cells, with every promise of the format kept."""
    zone = draw(st.sampled_from(sorted(ZONES)))
    clock = Clock(draw, zone)
    tables: dict[str, list[Row]] = {
        "mill": [
            {
                "name": draw(codes),
                "time_zone": zone,
                "currency": draw(maybe(st.just("EUR"))),
                "units": draw(st.sampled_from(["", "metric", "us"])),
            }
        ]
    }
    crops = draw(st.lists(tags, min_size=1, max_size=3, unique=True))
    tables["crops"] = [
        {"crop": crop, "bushel_kg": draw(maybe(positive)), "note": draw(texts)} for crop in crops
    ]
    tables["part_types"] = [
        {
            "part_type": name,
            "kind": draw(st.sampled_from(["die", "screw"])),
            "edges": str(edges),
            "for_crops": " ".join(draw(st.lists(st.sampled_from(crops), unique=True))),
            "size_mm": draw(maybe(sizes)),
            "new_mm": draw(maybe(sizes)),
            "expected_life_kg": draw(maybe(positive)),
            "min_spares": draw(maybe(st.just("2"))),
        }
        for edges, name in enumerate(draw(st.lists(codes, min_size=1, max_size=3, unique=True)), 1)
    ]
    presses = draw(st.lists(codes, min_size=1, max_size=2, unique=True))
    tables["presses"] = [
        {
            "press": press,
            "name": draw(texts),
            "commissioned_on": draw(maybe(days)),
            "note": draw(texts),
            "hours_from": draw(st.sampled_from(["", "runs", "meter"])),
        }
        for press in presses
    ]
    barrels = {press: draw(st.lists(tags, max_size=2, unique=True)) for press in presses}
    tables["positions"] = [
        {
            "press": press,
            "position": f"{draw(texts)}die {barrel}",
            "kind": "die",
            "barrel": barrel,
            "share": draw(maybe(shares)),
        }
        for press in presses
        for barrel in barrels[press] or [""]
    ]
    tables["part_orders"] = [
        {
            "ref": ref,
            "part_type": draw(st.sampled_from(tables["part_types"]))["part_type"],
            "count": draw(st.integers(1, 100)),
            "ordered_on": "2025-08-01",
            "expected_on": draw(maybe(days)),
            "arrived_on": draw(maybe(st.just("2025-08-20"))),
            "supplier": draw(texts),
            "note": draw(texts),
            "unit_cost": draw(maybe(amounts)).lstrip("-"),
        }
        for ref in draw(st.lists(codes, max_size=2, unique=True))
    ]
    came = {row["part_type"]: row["ref"] for row in tables["part_orders"] if row["arrived_on"]}
    parts = draw(st.lists(codes, min_size=1, max_size=4, unique=True))
    types = {part: draw(st.sampled_from(tables["part_types"])) for part in parts}
    tables["parts"] = [
        {
            "part": part,
            "part_type": types[part]["part_type"],
            "acquired_on": draw(maybe(days)),
            "note": draw(texts),
            "made_from": parts[place - 1] if place and draw(st.booleans()) else "",
            "came_with": came.get(types[part]["part_type"], "") if draw(st.booleans()) else "",
            "used_h": draw(maybe(meters)),
            "used_kg": draw(maybe(amounts)),
            "used_on": draw(maybe(days)),
        }
        | (
            {"retired_on": draw(days), "retired_because": draw(st.sampled_from(["", "worn", "lost"]))}
            if draw(st.booleans())
            else {}
        )
        for place, part in enumerate(parts)
    ]
    edge_of = {
        part: "ABCD"[: int(types[part]["edges"])] if types[part]["edges"] != "1" else [""] for part in parts
    }
    tables["fittings"] = fittings(draw, clock, tables["positions"], parts, edge_of)
    tables["runs"] = [
        run
        for press in presses
        for run in runs(draw, clock, press, presses.index(press), barrels[press], crops)
    ]
    tables["readings"] = [
        {
            "press": press,
            "read_at": moment,
            "meter_h": draw(meters),
            "kind": draw(st.sampled_from(["", "reading", "new_meter"])),
        }
        for press in presses
        for moment in clock.moments(3)
    ]
    tables["rules"] = [
        {
            "rule": rule,
            "action": "inspect",
            "kind": draw(st.sampled_from(["", "die"])),
            "every_h": draw(maybe(positive)),
            "after_crop": draw(maybe(st.sampled_from(crops))),
            "at_limit": draw(st.sampled_from(["", "yes"])),
            "after_incident": draw(st.sampled_from(["", "metal", "plugged metal"])),
            "instructions": draw(texts),
            "position": draw(maybe(st.sampled_from([row["position"] for row in tables["positions"]]))),
        }
        for rule in draw(st.lists(codes, max_size=2, unique=True))
    ]
    services = []
    for ref in draw(st.lists(codes, max_size=3, unique=True)):
        part = draw(maybe(st.sampled_from(parts)))
        place = draw(st.none() | st.sampled_from(tables["positions"]))
        services.append(
            {
                "ref": ref,
                "done_at": clock.moment(),
                "press": place["press"] if place else draw(st.sampled_from(presses)),
                "position": place["position"] if place else "",
                "part": part,
                "edge": draw(st.sampled_from(edge_of[part])) if part else "",
                "action": draw(st.sampled_from(["polish", "hard-face"])),
                "rule": draw(maybe(st.sampled_from([row["rule"] for row in tables["rules"]])))
                if tables["rules"]
                else "",
                "cost": draw(maybe(amounts)),
                "note": draw(texts),
                "done_by": draw(texts),
            }
        )
    tables["services"] = services
    tables["measurements"] = [
        {
            "ref": ref,
            "measured_at": clock.moment(),
            "part": part,
            "edge": draw(st.sampled_from(edge_of[part])),
            "value_mm": draw(sizes),
            "place": draw(texts),
            "bound": draw(st.sampled_from(["", "at_least", "below"])),
            "service": draw(maybe(st.sampled_from([row["ref"] for row in services]))) if services else "",
            "phase": draw(st.sampled_from(["", "before", "after"])),
        }
        for ref in draw(st.lists(codes, max_size=3, unique=True))
        for part in [draw(st.sampled_from(parts))]
    ]
    tables["incidents"] = [
        {
            "ref": ref,
            "happened_at": clock.moment(),
            "press": draw(st.sampled_from(presses)),
            "kind": "metal",
            "note": draw(texts),
        }
        for ref in draw(st.lists(codes, max_size=2, unique=True))
    ]
    tables["plan"] = [
        {
            "press": press,
            "crop": crop,
            "start_on": "2025-08-01",
            "end_on": "2025-10-01",
            "seed_kg": draw(amounts),
            "planned_on": draw(maybe(days)),
        }
        for press in presses
        for crop in crops
    ]
    tables["energy_sources"] = [
        {
            "press": press,
            "source": source,
            "kind": "thermal",
            "isolate_at": draw(texts),
            "verify_by": draw(texts),
        }
        for press in presses
        for source in draw(st.lists(codes, max_size=2, unique=True))
    ]
    tables["prices"] = [
        {"item": item, "from_on": draw(days), "price": draw(amounts).lstrip("-")}
        for item in draw(st.lists(codes, max_size=2, unique=True))
    ]
    return tables


class Clock:
    """Instants near the clock changes of a zone, each written with an offset or, where that says the same,
    as the wall shows it."""

    def __init__(self, draw: Any, zone: str) -> None:
        self.draw, self.zone = draw, ZoneInfo(zone)
        self.around = [datetime.fromisoformat(text).replace(tzinfo=UTC) for text in ZONES[zone]]

    def series(self, most: int) -> list[datetime]:
        """Different instants within four hours of one of the changes, in order."""
        start = self.draw(st.sampled_from(self.around))
        seconds = st.integers(-2 * 3600, 2 * 3600) | st.integers(-8, 8).map(lambda quarter: quarter * 900)
        offsets = sorted(self.draw(st.lists(seconds, max_size=most, unique=True)))
        micro = self.draw(st.sampled_from([0, 0, 250_000, 1]))
        return [start + timedelta(seconds=offset, microseconds=micro) for offset in offsets]

    def written(self, moment: datetime) -> str:
        local = moment.astimezone(self.zone)
        wall = local.replace(tzinfo=None, fold=0)
        if self.draw(st.booleans()) and wall.replace(tzinfo=self.zone).astimezone(UTC) == moment:
            return wall.isoformat()
        return self.draw(st.sampled_from([local, moment])).isoformat()

    def moments(self, most: int) -> list[str]:
        return [self.written(moment) for moment in self.series(most)]

    def moment(self) -> str:
        return self.written(
            self.draw(st.sampled_from(self.around)) + timedelta(minutes=self.draw(st.integers(-200, 200)))
        )


def fittings(
    draw: Any, clock: Clock, positions: list[Row], parts: list[str], edge_of: dict[str, Any]
) -> list[Row]:
    """Parts that change places within a few hours: each part stays on one position, one after the other."""
    rows = []
    places = {part: draw(st.sampled_from(positions)) for part in parts}
    for position in positions:
        here = [part for part in parts if places[part] is position]
        moments = clock.series(4)
        for start, end in zip_longest(moments, moments[1:]):
            if here:
                part = draw(st.sampled_from(here))
                rows.append(
                    {
                        "part": part,
                        "edge": draw(st.sampled_from(edge_of[part])),
                        "press": position["press"],
                        "position": position["position"],
                        "fitted_at": clock.written(start),
                        "removed_at": clock.written(end)
                        if end
                        else draw(st.sampled_from(["", "2031-01-01T00:00:00Z"])),
                    }
                )
    return rows


def runs(draw: Any, clock: Clock, press: str, number: int, barrels: list[str], crops: list[str]) -> list[Row]:
    """Runs of one press: through all of it one after the other, or each barrel of a twin on its own."""
    apart = len(barrels) == 2 and draw(st.booleans())
    rows = []
    for through in barrels if apart else [""]:
        moments = clock.series(6)
        for place, (start, end) in enumerate(zip(moments[::2], moments[1::2], strict=False)):
            row = {
                "ref": f"{draw(texts)}{number}{through}{place}",
                "press": press,
                "crop": draw(st.sampled_from(crops)),
                "lot": draw(texts),
                "started_at": clock.written(start),
                "seed_kg": draw(seeds),
                "oil_kg": draw(maybe(amounts)),
                "through": through,
                "dirt": draw(st.sampled_from(["", "dirty"])),
                "purge": draw(st.sampled_from(["", "yes"])),
                "note": draw(texts),
                "seed_how": draw(st.sampled_from(["", "", "about", "worked_out"])),
                "head_c": draw(maybe(st.just("-3.5"))),
                "moisture_pct": draw(maybe(shares)),
            }
            last = place == (len(moments) + 1) // 2 - 1
            if last and draw(st.booleans()):
                rows.append(row)  # still running
            elif draw(st.booleans()):
                rows.append(row | {"ended_at": clock.written(end), "hours_h": draw(maybe(shares))})
            else:
                rows.append(
                    row | {"hours_h": f"{max(0.0, (end - start).total_seconds() / 3600 - 0.00001):.6f}"}
                )
    return rows

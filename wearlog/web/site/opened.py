"""The address behind a figure: the table of the records that it was made from, with the figure as its total.

A page that shows a figure links it, in Python or in a template (`{% load opened %}`):

    opened("runs", "hours_per_tonne", press="P1", crop="rapeseed", season="2025/26", counts="rate")
    <a class="figure" href="{% opened 'runs' 'seed' part=part.code edge='A' %}">{{ seed }}</a>

The first word is the table, the second the total that must give exactly the figure; the page says it first. A
filter that is None or empty is left out; a list keeps what answers to any of its values. Tests follow such
links and add up anew.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from urllib.parse import urlencode

from django.urls import reverse

Value = str | int | float | date | None | Iterable[str | int]

WHEN = ("first", "last", "season", "season_start")
"""Days from and to, both included, in the mill's zone; the names of seasons, and where one begins (`07-01`).
A record belongs to the day and the season in which it began."""
FILTERS: dict[str, tuple[str, ...]] = {
    "runs": (
        *("press", "crop", *WHEN, "lot", "person"),
        *("die", "screw", "part", "type", "size", "edge", "fitting", "life"),
        *("counts", "known", "mix"),
    ),
    "work": ("press", *WHEN, "action", "kind", "part", "edge", "person", "rule", "known"),
    "incidents": ("press", *WHEN, "kind", "person"),
    "gauges": ("press", *WHEN, "part", "type", "edge", "person"),
    "lives": ("type", "ended"),
}
"""By table the filters that it takes.

press, crop, die, screw, part, type, rule: the code. season: its name. size: the bore, mm. edge: of the parts
named, else of dies. fitting: its primary key. life: 0 for a part as new, 1 after its first rebuild. kind: of
part, or of incident. person: as written under "done by".

counts: which runs. "rate": ended, with hours, weighed or estimated, no purge; what rates are made of.
"costs": the same with seed that was worked out. "purge", "worked_out", "untimed": what rates leave out.
known: only where it is recorded. Of runs "oil", "cake", "energy"; of work "labour", "stood", "paid".
mix: weights of crops (`rapeseed:61.5`); the total "at_mix" is the hours per tonne at that mix of crops."""
MONEY = ("cost_per_t", "income_per_t", "seed_per_t", "left_per_t", "left")
"""Totals of runs in money, for owners: where one is asked for, each run has its cost and income beside it.
Costs are those of the kinds that all presses have on record in the seasons of the runs."""
TOTALS: dict[str, tuple[str, ...]] = {
    "runs": (
        *("runs", "hours", "seed", "oil", "cake", "energy"),
        *("hours_per_tonne", "throughput", "oil_pct", "cake_pct", "energy_per_tonne", "at_mix"),
        *MONEY,
    ),
    "work": ("number", "labour", "stood", "paid"),
    "incidents": ("number",),
    "gauges": ("number",),
    "lives": ("number", "hours", "seed", "mean"),
}
"""By table the totals below it. Of runs, every crop also has a line of its own with the same totals, named
`hours:rapeseed`. oil_pct, cake_pct and energy_per_tonne are over the runs in which they are recorded."""


def opened(table: str, total: str = "", **filters: Value) -> str:
    """The address of a table of records. Raises KeyError for a table, total or filter that there isn't."""
    if total and total.partition(":")[0] not in TOTALS[table]:
        raise KeyError(f"A table of {table} has no total {total!r}.")
    query: list[tuple[str, str]] = []
    for name, value in filters.items():
        if name not in FILTERS[table]:
            raise KeyError(f"A table of {table} has no filter {name!r}.")
        each = [value] if value is None or isinstance(value, str | int | float | date) else value
        query += [(name, str(one)) for one in each if one not in (None, "")]
    if total:
        query.append(("total", total))
    return reverse(f"web:records-{table}") + (f"?{urlencode(query)}" if query else "")

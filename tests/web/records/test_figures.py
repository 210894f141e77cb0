"""Each figure opens the records that it was made from, and adding these up anew gives exactly the figure.

The pages are read as a browser would; every link behind a figure is followed to its table, the rows of the
table are taken as the file has them, and added up here in plain Python, with nothing of the product's sums.
"""

from __future__ import annotations

import csv
import io
import re
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from html import unescape
from urllib.parse import parse_qs, urlsplit

import pytest
from django.test import Client
from django.utils import timezone

from wearlog.equipment.models import Part
from wearlog.logbook import demo
from wearlog.people.models import User

DAY = date(2026, 3, 4)
"""The demo's reference day: its dates are not moved."""
Row = dict[str, str]
LINK = r'<a [^>]*href="(/records/[^"]*total=[^"]*)"[^>]*>(.*?)</a\s*>'


@dataclass(frozen=True)
class Linked:
    """A figure as it stands on its page, and the address behind it."""

    words: str
    address: str

    @property
    def total(self) -> str:
        return self.query["total"][0]

    @property
    def query(self) -> dict[str, list[str]]:
        return parse_qs(urlsplit(self.address).query)


@pytest.fixture
def reader(client: Client, transactional_db: None) -> Client:
    demo.load(by=None, today=DAY)
    client.force_login(User.objects.create_user("owner", role="owner"))
    return client


def page_of(reader: Client, address: str) -> str:
    answer = reader.get(address)
    assert answer.status_code == 200, address
    return answer.content.decode()


def links_in(html: str) -> Iterator[Linked]:
    for address, words in re.findall(LINK, html, re.S):
        plain = re.sub(r"[ \n]+", " ", unescape(re.sub(r"<[^>]+>", "", words)))
        yield Linked(plain.strip(" "), unescape(address))


def rows_of(reader: Client, linked: Linked) -> list[Row]:
    parts = urlsplit(linked.address)
    answer = reader.get(f"{parts.path}?{parts.query}&download=csv")
    assert answer.status_code == 200, linked
    return list(csv.DictReader(io.StringIO(b"".join(answer).decode())))  # type: ignore[call-overload]


def number(cell: str) -> float:
    return float(cell) if cell else 0.0


def total(rows: list[Row], key: str) -> float:
    return sum(number(row[key]) for row in rows)


def per_seed(key: str, scale: float) -> Callable[[list[Row]], float]:
    def rate(rows: list[Row]) -> float:
        known = [row for row in rows if row[key] and row["counts"] == "rate"]
        return scale * total(known, key) / total(known, "seed_kg")

    return rate


SUMS: dict[str, Callable[[list[Row]], float]] = {
    "runs": len,
    "number": len,
    "hours": lambda rows: total(rows, "hours_h"),
    "seed": lambda rows: total(rows, "seed_kg"),
    "oil": lambda rows: total(rows, "oil_kg"),
    "hours_per_tonne": per_seed("hours_h", 1000),
    "throughput": lambda rows: 1000 / per_seed("hours_h", 1000)(rows),
    "oil_pct": per_seed("oil_kg", 100),
}


def at_mix(rows: list[Row], linked: Linked) -> float:
    """Hours per tonne at the weights of crops that stand in the address."""
    of_crop = defaultdict(list)
    for row in rows:
        of_crop[row["crop"]].append(row)
    weights = {
        crop: float(weight) for crop, _, weight in (one.rpartition(":") for one in linked.query["mix"])
    }
    whole = sum(weights.values())
    return sum(weight / whole * SUMS["hours_per_tonne"](of_crop[crop]) for crop, weight in weights.items())


def added_up(reader: Client, linked: Linked) -> float:
    rows = rows_of(reader, linked)
    return at_mix(rows, linked) if linked.total == "at_mix" else SUMS[linked.total](rows)


def beside(reader: Client, linked: Linked) -> dict[str, float]:
    """What a part's table names that no run holds: hours on the meter alone, and from before the log."""
    html = page_of(reader, linked.address)
    found = {}
    for name in ("unlogged", "earlier_hours", "earlier_seed"):
        shown = re.search(rf'<dd id="{name}">([^<]*)</dd>', html)
        found[name] = as_number(shown[1]) if shown else 0.0
    return found


def as_number(words: str) -> float:
    """The number in a figure, in the units of files: kilograms, hours, plain rates."""
    found = re.search(r"[\d\u202f\u2009]+(\.\d+)?", unescape(words))
    assert found is not None, words
    value = float(re.sub(r"[\u202f\u2009]", "", found[0]))
    return value * 1000 if re.search(r"\d\s?t$", words.strip()) else value


def step(words: str) -> float:
    """Half of the last digit that is shown, a little more for rounding at the border."""
    shown = re.search(r"\d(?:\.(\d+))?\D*$", words)
    digits = len(shown[1]) if shown and shown[1] else 0
    size = 0.5000001 * 10**-digits
    return size * 1000 if re.search(r"\d\s?t$", words.strip()) else size


FIGURE = re.compile(r"\d")


def cells_without_links(html: str, cells: str) -> list[str]:
    """The cells with a figure in which no link stands."""
    return [
        cell
        for cell in re.findall(cells, html, re.S)
        if FIGURE.search(re.sub(r"<[^>]+>", "", cell)) and "<a " not in cell
    ]


COMPARED = (
    "?by=press,crop",
    "?by=crop,season&crop=rapeseed&crop=linseed",
    "?by=press,season&season-start=01-01",
)
MONEY = re.compile(r"data-label=\"[^\"]*(EUR|1/)")
"""Amounts are no sums of runs: what is paid stands with the work, what is used up is reckoned."""
MOST_FOLLOWED = 40


def test_each_figure_of_the_comparison_is_the_total_of_the_runs_behind_it(reader: Client) -> None:
    for query in COMPARED:
        html = page_of(reader, f"/compare/{query}")
        linked = list(links_in(html))
        assert {one.total for one in linked} >= {"at_mix", "hours_per_tonne", "throughput", "seed", "oil_pct"}
        for one in linked[:: max(1, len(linked) // MOST_FOLLOWED)]:
            in_tons = (
                one.total in ("seed", "oil") and "t" not in one.words and one.query["counts"] == ["rate"]
            )
            found = added_up(reader, one) / (1000 if in_tons else 1)
            assert found == pytest.approx(as_number(one.words), abs=step(one.words)), one
        tables = re.findall(r"<table class=\"stacks\">.*?</table>", html, re.S)
        assert len(tables) >= 3
        bare = [
            cell
            for table in tables
            for cell in cells_without_links(table, r"<td class=\"num\"[^>]*>.*?</td>")
            if not MONEY.search(cell)
        ]
        assert bare == []


def test_each_figure_of_work_on_each_part_is_the_total_of_the_runs_behind_it(reader: Client) -> None:
    seen = 0
    for part in Part.objects.filter(fittings__isnull=False).distinct().order_by("code")[::9]:
        html = page_of(reader, f"/parts/{part.pk}/")
        for lines in re.findall(r"<dt>Worked</dt>(.*?)</dl>", html, re.S):
            assert cells_without_links(lines, r"<dd>.*?</dd>") == [], part.code
        where = re.search(r'<section aria-labelledby="fittings">.*?</section>', html, re.S)
        assert where is not None
        assert cells_without_links(where[0], r"</p><p>.*?</p>") == [], part.code
        for one in links_in(html):
            if "/records/runs/" not in one.address:
                continue
            seen += 1
            more = beside(reader, one)
            extra = {"hours": more["unlogged"] + more["earlier_hours"], "seed": more["earlier_seed"]}
            found = added_up(reader, one) + extra[one.total]
            tolerance = step(one.words) + (0.1 if any(more.values()) else 0.0)
            assert found == pytest.approx(as_number(one.words), abs=tolerance, rel=1e-6), (part.code, one)
    assert seen > 25


def test_ages_of_parts_in_use_and_counts_of_lives_are_those_of_their_tables(
    reader: Client,
) -> None:
    html = page_of(reader, "/worth/")
    assert cells_without_links(html, r'<td class="num" data-label="Age">.*?</td>') == []
    ages = [one for one in links_in(html) if "/records/runs/" in one.address]
    assert len(ages) > 15
    for one in ages[::2]:
        more = beside(reader, one)
        extra = {"hours": more["unlogged"] + more["earlier_hours"], "seed": more["earlier_seed"]}
        found = added_up(reader, one) + extra[one.total]
        assert found == pytest.approx(as_number(one.words), abs=step(one.words) + 0.1, rel=1e-6), one
    counts = [one for one in links_in(html) if "/records/lives/" in one.address]
    assert len(counts) > 3
    for one in counts:
        rows = rows_of(reader, one)
        assert len({row["part"] for row in rows}) == int(one.words.split()[0]), one
        for ended in {row["ended"] for row in rows}:
            assert f"{sum(row['ended'] == ended for row in rows)} {ended}" in one.words


def tonnes(rows: list[Row]) -> float:
    """Seed that cleaned a press is in no divisor."""
    return sum(number(row["seed_kg"]) for row in rows if row["counts"] != "purge") / 1000


AMOUNTS: dict[str, Callable[[list[Row]], float]] = {
    "cost_per_t": lambda rows: total(rows, "cost") / tonnes(rows),
    "income_per_t": lambda rows: total(rows, "income") / tonnes(rows),
    "paid": lambda rows: total(rows, "paid"),
    "labour": lambda rows: total(rows, "labour_h"),
}
"""Those that can be added up from the rows alone; what seed cost and what is left follow from them."""


def test_each_amount_of_the_page_of_costs_is_that_of_the_records_behind_it(client: Client, db: None) -> None:
    demo.load(by=None, today=timezone.localdate())
    client.force_login(User.objects.create_user("owner", role="owner"))
    linked = list(links_in(page_of(client, "/costs/")))
    told = {one.total for one in linked}
    assert told >= {"cost_per_t", "income_per_t", "seed_per_t", "left_per_t", "left", "paid", "labour"}
    for one in linked:
        html = page_of(client, one.address)
        shown = re.search(rf'<dd id="{one.total}">([^<]*)</dd>', html)
        assert shown is not None, one
        assert as_number(shown[1]) == pytest.approx(as_number(one.words), abs=step(one.words)), one
        if one.total in AMOUNTS:
            found = AMOUNTS[one.total](rows_of(client, one))
            assert found == pytest.approx(as_number(one.words), abs=step(one.words)), one


def test_who_does_not_own_the_mill_sees_no_money_beside_the_runs(client: Client, db: None) -> None:
    demo.load(by=None, today=DAY)
    client.force_login(User.objects.create_user("m", role="maintainer"))
    html = page_of(client, "/records/runs/?season=2024%2F25&total=cost_per_t")
    assert 'id="cost_per_t"' not in html
    assert "EUR" not in html
    rows = rows_of(client, Linked("", "/records/runs/?season=2024%2F25&total=cost_per_t"))
    assert rows
    assert "cost" not in rows[0]

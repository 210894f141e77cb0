"""Five questions of an owner, answered on the demo mill from Today in two touches: a menu and its entry, or a
link and a link.

Reckoned again from the rows of the database by plain loops and numpy: what the best lot's oil and cake
earned, where the screw's cost is lowest (within a fifth), and the seed planned for dies. The dearest press,
what a lot leaves over and the lines of what to order are only held to other figures of the same page.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from html import unescape

import numpy as np
import pytest
from django.db import connection
from django.test import Client
from django.utils import timezone

from wearlog.logbook import demo
from wearlog.people.models import Role, User

Row = dict[str, object]


@pytest.fixture
def owner(client: Client, db: None) -> Client:
    demo.load(by=None, today=timezone.localdate())
    client.force_login(User.objects.create_user("boss", role=Role.OWNER))
    return client


def rows(statement: str) -> list[Row]:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        names = [column[0] for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def links(page: Client, address: str) -> set[str]:
    return set(re.findall(r'href="(/[^"#?]*)', page.get(address).content.decode()))


def answer(page: Client, address: str) -> str:
    """The text of a page that two touches from Today lead to: one opens a menu or a page, the other is a link
    there."""
    first = links(page, "/")
    assert address in first or any(address in links(page, one) for one in sorted(first) if one == "/worth/")
    html = page.get(address).content.decode()
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html[html.index("<main") :])))


def test_an_owners_questions_are_answered_in_two_touches(owner: Client) -> None:
    """One test, since the demo mill takes longest to load."""
    press_that_costs_most(answer(owner, "/costs/"))
    lot_that_made_money(answer(owner, "/costs/"))
    when_to_stop_this_screw(owner)
    dies_before_the_season(answer(owner, "/worth/pays/"))
    what_to_order_today(answer(owner, "/order/"))


def press_that_costs_most(text: str) -> None:
    said = re.search(
        r"(\w+ press|Twin) costs most, ([\d.]+) EUR/t; (\w+ press|Twin) least, ([\d.]+) EUR/t", text
    )
    assert said is not None
    table = text[text.index("Costs (EUR/t)") :]
    names = re.findall(r"\w+ press|Twin", table[: table.index("screw")])
    lines = {
        word: [float(cell) for cell in cells.split()]
        for word, cells in re.findall(rf"([A-Z][a-z-]+|[a-z]+) ((?:-?\d+\.\d\d ){{{len(names)}}})", table)
    }
    together = dict(zip(names, lines.pop("Together"), strict=True))
    assert together[said[1]] == max(together.values()) == float(said[2])
    assert together[said[3]] == min(together.values()) == float(said[4])
    kinds = ("screw", "die", "barrel", "heater", "bearing", "belt", "Work", "oil", "Stand-still")
    for place, name in enumerate(names):
        assert sum(lines[kind][place] for kind in kinds) == pytest.approx(together[name], abs=0.05)


def lot_that_made_money(text: str) -> None:
    """The lot that left most over a tonne: what its oil and cake earned, by the prices of the days of its
    runs."""
    table = text[text.index("Which lot made money") :]
    said = re.search(
        r"Left over in all \(EUR\) (\S+) (\w+) ([\d.]+) ([\d\s]+\.\d\d) ([\d.]+) ([\d.]+) ([\d.]+)", table
    )
    assert said is not None
    lot, earned = said[1], float(re.sub(r"\s", "", said[4]))
    prices: dict[str, list[tuple[date, float]]] = defaultdict(list)
    for row in rows("SELECT item, from_on, price FROM runs_price ORDER BY from_on"):
        prices[str(row["item"])].append((as_day(row["from_on"]), float(str(row["price"]))))

    def price(item: str, on: date) -> float:
        return [each for begin, each in prices[item] if begin <= on][-1]

    income = seed = 0.0
    for row in rows(
        "SELECT started_at, seed_kg, oil_kg, cake_kg FROM runs_run "
        f"WHERE lot = '{lot}' AND voided_at IS NULL AND NOT purge"
    ):
        on = as_day(row["started_at"])
        seed += float(str(row["seed_kg"]))
        income += float(str(row["oil_kg"])) * price("oil_kg", on) + float(str(row["cake_kg"])) * price(
            "cake_kg", on
        )
    assert earned == pytest.approx(1000 * income / seed, rel=2e-3)
    assert float(said[7]) == pytest.approx(earned - float(said[5]) - float(said[6]), abs=0.02)


def when_to_stop_this_screw(owner: Client) -> None:
    """Of the screw of the yard press, by a line through the weeks of each harvest and crop; what the page
    says is drawn to what other screws showed, and tells the die and the barrel apart, so that it is near, not
    equal."""
    text = answer(owner, "/worth/pays/")
    said = re.search(
        r"S-03 \(Yard press, [\d.]+ t\) Stop it\. A tonne costs least if it is changed at about (\d+) t", text
    )
    assert said is not None
    assert any("/stop/" in link for link in links(owner, "/worth/pays/"))
    (fitting,) = rows(
        "SELECT part.id, position.press_id, fitting.fitted_at FROM equipment_fitting fitting "
        "JOIN equipment_part part ON part.id = fitting.part_id "
        "JOIN equipment_position position ON position.id = fitting.position_id "
        "WHERE part.code = 'S-03' AND fitting.removed_at IS NULL AND fitting.voided_at IS NULL"
    )
    oil, hour = 3.2, 18.0  # of the demo's latest prices
    age, points = 0.0, defaultdict(list)
    for row in rows(
        "SELECT started_at, ends_at, seed_kg, oil_kg, hours_h, crop_id FROM runs_run "
        f"WHERE press_id = {fitting['press_id']} "
        "AND voided_at IS NULL AND NOT purge AND ends_at IS NOT NULL ORDER BY started_at"
    ):
        kg, begun = float(str(row["seed_kg"])), as_day(row["started_at"])
        if kg > 0 and row["oil_kg"] is not None:
            clock_h = (instant(row["ends_at"]) - instant(row["started_at"])) / timedelta(hours=1)
            hours = float(str(row["hours_h"])) if row["hours_h"] is not None else clock_h
            season = begun.year - (begun.month < 7)
            loss = -1000 * float(str(row["oil_kg"])) / kg * oil + 1000 * hours / kg * hour
            points[season, row["crop_id"], begun.toordinal() // 7].append((age / 1000, loss))
        age += kg
    means = [(key[:2], *np.mean(values, axis=0)) for key, values in points.items()]
    groups = sorted({key for key, _, _ in means}, key=str)
    design = np.array([[a, *(key == group for group in groups)] for key, a, _ in means], dtype=float)
    slope = float(np.linalg.lstsq(design, np.array([y for _, _, y in means]), rcond=None)[0][0])
    work = sum(
        float(str(row["cost"] or 0)) + 28.5 * float(str(row["labour_h"] or 0))
        for row in rows(
            "SELECT cost, labour_h FROM service_service "
            f"WHERE part_id = {fitting['id']} AND voided_at IS NULL"
        )
    )
    lowest = (2 * (640 + work) / slope) ** 0.5
    assert float(said[1]) == pytest.approx(lowest, rel=0.2)


def dies_before_the_season(text: str) -> None:
    """How many 5 mm dies: the seed that the plan has for them."""
    said = re.search(r"D5 \(bore 5\.00 mm\) Make (\d+) dies?\..*?Planned seed ([\d.]+) t", text)
    assert said is not None
    today = timezone.localdate()
    planned = 0.0
    for row in rows(
        "SELECT start_on, end_on, entry.seed_kg FROM runs_planentry entry "
        "JOIN runs_crop crop ON crop.id = crop_id "
        "WHERE crop.code = 'rapeseed'"
    ):
        start, end = as_day(row["start_on"]), as_day(row["end_on"])
        ahead = sum(
            today <= start + timedelta(days=day) < today + timedelta(days=366)
            for day in range((end - start).days + 1)
        )
        planned += float(str(row["seed_kg"])) * ahead / ((end - start).days + 1)
    assert float(said[2]) == pytest.approx(planned / 1000, rel=0.02)
    assert int(said[1]) >= 1


def what_to_order_today(text: str) -> None:
    """What is late comes first; the lead time lies between the two days of each line."""
    lines = list(lines_of(text))
    assert lines
    assert lines == sorted(lines)
    for order_by, needed, lead in lines:
        assert (needed - order_by).days == lead


def lines_of(text: str) -> Iterator[tuple[date, date, int]]:
    day = r"(\d{1,2} \w{3} \d{4})"
    for found in re.finditer(
        day + r"(?: \(the day is over\))? " + day + r" (?:The first|The dies|[A-Z]).*? (\d+) days", text
    ):
        order_by, needed = (
            datetime.strptime(words, "%d %b %Y").replace(tzinfo=UTC).date() for words in found.groups()[:2]
        )
        yield order_by, needed, int(found[3])


def instant(value: object) -> datetime:
    """As SQLite and PostgreSQL give it."""
    found = value if isinstance(value, datetime) else datetime.fromisoformat(str(value))
    return found if found.tzinfo else found.replace(tzinfo=UTC)


def as_day(value: object) -> date:
    if isinstance(value, datetime):
        return timezone.localtime(value).date() if timezone.is_aware(value) else value.date()
    return value if isinstance(value, date) else date.fromisoformat(str(value)[:10])

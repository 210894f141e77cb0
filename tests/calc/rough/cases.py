"""What the forecast, the plain methods and the oracle say of the same edges on the same days."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tests.calc.rough.mill import Edge, Mill, asked_days
from tests.calc.rough.plain.gamma import days_by_steps, learn_steps
from tests.calc.rough.plain.known import Known
from tests.calc.rough.plain.line import crude_rate, days_by_line, learn_line
from tests.calc.rough.plain.lives import days_by_lives, learn_lives
from tests.calc.rough.plain.lumped import days_by_lumped_rate
from tests.calc.rough.plain.oracle import days_by_truth
from tests.calc.rough.plain.path import Days, Path
from tests.calc.rough.plain.seen import lives_seen
from tests.calc.rough.plain.wiener import days_by_wandering, kept_of_plan, learn_wandering
from tests.calc.rough.site import Site

FORECAST, ALONE, ORACLE, KNOWN = "forecast", "alone", "oracle", "known"
"""`FORECAST` is what the site gives, `ALONE` the wear model before others are heard or ranges corrected."""
PLAIN = ("lumped", "line", "lives", "gamma", "wiener")
NEAREST, FURTHEST = 3, 400


@dataclass(frozen=True)
class Case:
    """An edge on a day, the day on which it truly came to its limit, and what each method said."""

    day: int
    edge: tuple[str, str]
    came: int
    said: dict[str, Days | None]


def cases_of(mill: Mill, dates: int) -> list[Case]:
    """All edges at work whose limit truly lies 3 to 400 days ahead, on several days of the record."""
    site = Site(mill)
    return [case for day in asked_days(mill, dates) for case in _cases_on(site, day)]


def _cases_on(site: Site, day: int) -> Iterator[Case]:
    mill = site.mill
    scored = [(edge, came) for edge in mill.in_use(day) if (came := _comes(edge, day)) is not None]
    if not scored:
        return
    forecast = site.forecast(day)
    plain = plain_days(mill, day, [edge for edge, _ in scored])
    for edge, came in scored:
        said = {FORECAST: forecast[edge.key], ALONE: site.alone[edge.key], **plain[edge.key]}
        yield Case(day, edge.key, came, said)


def _comes(edge: Edge, day: int) -> int | None:
    came = None if edge.shelved(day) else edge.lives[edge.life(day)].came
    return came if came is not None and NEAREST <= came - day <= FURTHEST else None


def plain_days(mill: Mill, day: int, edges: list[Edge]) -> dict[tuple[str, str], dict[str, Days | None]]:
    """What the plain methods, the oracle and the process with known parameters say of the edges."""
    seen = lives_seen(mill, day)
    paths = {press: Path.of_press(mill, press, day) for press in {edge.press(day) for edge in edges}}
    known = Known(mill, day)
    kept = {press: kept_of_plan(mill, press, day) for press in paths}
    out: dict[tuple[str, str], dict[str, Days | None]] = {}
    for t in mill.kind.types:
        lives = seen[t.name]
        wanted = [edge for edge in edges if edge.type is t]
        if not wanted:
            continue
        crude = crude_rate(t, mill.kind.life_told, lives)
        line = learn_line(t, crude, lives)
        ages, steps = learn_lives(t.budget / crude, lives), learn_steps(line, lives)
        wandering = learn_wandering(line, lives)
        for edge in wanted:
            one = [life for life in lives if life.edge is edge][-1]
            path = paths[edge.press(day)].through(edge)
            out[edge.key] = {
                "lumped": days_by_lumped_rate(t.budget, one, path),
                "line": days_by_line(line, one, path),
                "lives": days_by_lives(ages, one, path),
                "gamma": None if steps is None else days_by_steps(steps, line, one, path),
                "wiener": days_by_wandering(wandering, one, path, kept[edge.press(day)]),
                ORACLE: days_by_truth(mill, edge, path),
                KNOWN: known.range(edge),
            }
    return out

"""Draws the pictures of these pages from the project's own calculations: `python docs/methods/draw.py`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path

import numpy as np

from wearlog.calc import conformal, drift, life, policy, recurrence
from wearlog.calc.exposure import timeline_of
from wearlog.calc.meters import hours_of_press
from wearlog.calc.season import DailySeed, PlanLine, coming_season
from wearlog.calc.wear import EdgeRecord, Gauge, TypeRecord, fit_type

HERE = Path(__file__).parent / "pictures"
WIDTH, HEIGHT = 560, 300
LEFT, RIGHT, TOP, BOTTOM = 64, 16, 28, 44
INK, STEEL, OIL, PAPER, LINE = "#221e18", "#24486a", "#a8720c", "#fffdf7", "#cbbf9f"

Points = Sequence[tuple[float, float]]


class Sheet:
    """A ruled sheet with two scales."""

    def __init__(self, title: str, x: tuple[float, float, str], y: tuple[float, float, str]) -> None:
        self.x, self.y = x, y
        self.parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" '
            f'role="img" font-family="serif" font-size="13" fill="{INK}">',
            f"<title>{escape(title)}</title>",
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{PAPER}"/>',
            f'<text x="{LEFT}" y="18" font-weight="700">{escape(title)}</text>',
        ]
        for share in (0.0, 0.25, 0.5, 0.75, 1.0):
            words = f"{y[0] + share * (y[1] - y[0]):.4g}" if y[2] else ""
            across, up = x[0] + share * (x[1] - x[0]), y[0] + share * (y[1] - y[0])
            px, py = self.place(across, up)
            self.parts += [
                f'<path d="M{LEFT} {py:.1f}H{WIDTH - RIGHT}" stroke="{LINE}"/>',
                f'<text x="{LEFT - 8}" y="{py + 4:.1f}" text-anchor="end">{words}</text>',
                f'<text x="{px:.1f}" y="{HEIGHT - 26}" text-anchor="middle">{across:.4g}</text>',
            ]
        self.text(WIDTH - RIGHT, HEIGHT - 8, x[2], "end", placed=True)
        self.text(WIDTH - RIGHT, 18, y[2], "end", placed=True)

    def place(self, x: float, y: float) -> tuple[float, float]:
        across = LEFT + (x - self.x[0]) / (self.x[1] - self.x[0]) * (WIDTH - LEFT - RIGHT)
        up = HEIGHT - BOTTOM - (y - self.y[0]) / (self.y[1] - self.y[0]) * (HEIGHT - TOP - BOTTOM)
        return across, up

    def line(self, points: Points, colour: str = INK, *, steps: bool = False, dashed: bool = False) -> None:
        placed = [self.place(*point) for point in points]
        path = f"M{placed[0][0]:.1f} {placed[0][1]:.1f}"
        for across, up in placed[1:]:
            path += f"H{across:.1f}V{up:.1f}" if steps else f"L{across:.1f} {up:.1f}"
        dash = ' stroke-dasharray="5 4"' if dashed else ""
        self.parts.append(f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="2"{dash}/>')

    def dots(self, points: Iterable[tuple[float, float]], colour: str = STEEL, radius: float = 3) -> None:
        for point in points:
            across, up = self.place(*point)
            self.parts.append(f'<circle cx="{across:.1f}" cy="{up:.1f}" r="{radius}" fill="{colour}"/>')

    def text(self, x: float, y: float, words: str, anchor: str = "start", *, placed: bool = False) -> None:
        across, up = (x, y) if placed else self.place(x, y)
        self.parts.append(
            f'<text x="{across:.1f}" y="{up:.1f}" text-anchor="{anchor}">{escape(words)}</text>'
        )

    def write(self, name: str) -> None:
        (HERE / f"{name}.svg").write_text("\n".join([*self.parts, "</svg>", ""]), encoding="utf-8")


def draw_units() -> None:
    boxes = [
        ("typed", "1,000 lb"),
        ("stored", "453.592370 kg"),
        ("read back", "1,000 lb"),
        ("in 24 h", "18.9 kg/h"),
    ]
    parts = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 560 110" width="560" role="img" '
        f'font-family="serif" font-size="14" fill="{INK}">',
        "<title>A typed number, stored and read back</title>",
        f'<rect width="560" height="110" fill="{PAPER}"/>',
    ]
    for number, (head, words) in enumerate(boxes):
        left = 12 + number * 138
        parts += [
            f'<rect x="{left}" y="30" width="120" height="52" fill="none" stroke="{STEEL}"/>',
            f'<text x="{left + 60}" y="22" text-anchor="middle">{head}</text>',
            f'<text x="{left + 60}" y="61" text-anchor="middle" font-weight="700">{words}</text>',
        ]
        if number:
            parts.append(f'<path d="M{left - 17} 56h14m-5-5l5 5l-5 5" fill="none" stroke="{INK}"/>')
    (HERE / "units.svg").write_text("\n".join([*parts, "</svg>", ""]), encoding="utf-8")


def draw_mix() -> None:
    sheet = Sheet("Two presses, the same two rates", (0, 40, "hours per tonne"), (0, 3, ""))
    for height, (name, crude) in zip(
        (2.0, 1.0), (("mostly rapeseed", 22.0), ("mostly flax", 38.0)), strict=True
    ):
        sheet.line([(0, height), (crude, height)], STEEL)
        sheet.dots([(crude, height)], STEEL, 5)
        sheet.dots([(30.0, height)], OIL, 6)
        sheet.text(0.5, height + 0.18, f"{name}: crude {crude:.0f}, at the common mix 30")
    sheet.write("mix")


def draw_life() -> None:
    ages = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386] + [500] * 10
    failed = [1] * 10 + [0] * 10
    found, steps = life.fit_life(ages, failed), life.kaplan_meier(ages, failed)
    assert found.shape is not None
    assert found.scale is not None
    sheet = Sheet("Twenty units, ten failed (NIST 8.4.1.3)", (0, 1000, "hours"), (0, 1, "alive"))
    across = np.linspace(0, 1000, 101)
    curve = np.exp(-((across / found.scale) ** found.shape))
    sheet.line(list(zip(across.tolist(), curve.tolist(), strict=True)), OIL)
    sheet.line([(0, 1), *((step.age, step.survival) for step in steps), (500, 0.5)], STEEL, steps=True)
    sheet.write("life")


def draw_recurrence() -> None:
    times = [2.6, 16.5, 16.5, 17.0, 21.4, 29.1, 33.3, 56.5, 63.1, 70.6, 73.0, 77.7, 93.9, 95.5, 98.1, 101.1]
    times += [132.0, 142.2, 147.7, 149.0, 167.2, 190.7, 193.0, 198.7, 251.9, 282.5, 286.1]
    unit = recurrence.unit(times, 300)
    law = recurrence.power_law([unit])
    assert law.rate is not None
    assert law.shape is not None
    sheet = Sheet("27 failures in 300 hours (MIL-HDBK-189)", (0, 300, "hours"), (0, 32, "events"))
    across = np.linspace(0, 300, 101)
    sheet.line([(x, law.rate * x**law.shape) for x in across.tolist()], OIL)
    points = [(point.age, point.value) for point in recurrence.mean_cumulative([unit])]
    sheet.line([(0, 0), *points, (300, 27)], STEEL, steps=True)
    sheet.write("recurrence")


def draw_policy() -> None:
    found = policy.replacement(shape=2.5, scale=1000, planned_cost=1, failure_cost=5)
    assert found.best_age is not None
    sheet = Sheet(
        "Shape 2.5, scale 1,000, costs 1 and 5", (0, 1600, "replaced at, hours"), (0, 0.01, "per hour")
    )

    def alive(age: np.ndarray) -> np.ndarray:
        return np.exp(-((age / 1000) ** 2.5))

    ages = np.linspace(105, 1600, 120).tolist()
    sheet.line([(age, min(0.01, policy.cost_rate(age, alive, 1, 5))) for age in ages], STEEL)
    sheet.line([(0, found.run_to_failure_cost), (1600, found.run_to_failure_cost)], INK, dashed=True)
    sheet.dots([(found.best_age, found.cost_rate)], OIL, 6)
    sheet.text(found.best_age, found.cost_rate - 0.0009, f"{found.best_age:.0f} h", "middle")
    sheet.text(1590, found.run_to_failure_cost + 0.0003, "run to failure", "end")
    sheet.write("policy")


def draw_drift() -> None:
    rng = np.random.default_rng(5)
    classes = rng.integers(0, 2, 90)
    rate = np.array([40.0, 30.0])[classes] * np.exp(rng.normal(0, 0.05, 90))
    rate[55:] *= 0.86
    found = drift.throughput_drift(rate, classes)
    judged = np.flatnonzero(~np.isnan(found.average))
    across = judged.tolist()
    sheet = Sheet("A seventh less from run 55 on", (0, 90, "run"), (-25, 10, "% against the baseline"))
    average = (100 * np.expm1(found.average[judged])).tolist()
    limit = (100 * np.expm1(found.limit[judged])).tolist()
    sheet.line(list(zip(across, limit, strict=True)), OIL, dashed=True)
    sheet.line(list(zip(across, average, strict=True)), STEEL)
    if found.since is not None:
        sheet.dots([(found.since, 100 * float(np.expm1(found.average[found.since])))], INK, 5)
        sheet.text(found.since + 2, -6, f"told at run {found.since}")
    sheet.write("drift")


def draw_track_record() -> None:
    """Ranges that are too narrow, and what their own record makes of each side."""
    rng = np.random.default_rng(8)
    away = rng.normal(0, 16, 80)
    edges = [
        conformal.History(
            forecasts=((20.0 * number - 40, conformal.DayRange(early=20 * number + 50, mid=20 * number + 60,
                                                  late=20 * number + 70)),),
            came=20.0 * number + 60 + miss,
            known_on=20.0 * number + 61 + miss,
        )
        for number, miss in enumerate(away.tolist())
    ]  # fmt: skip
    sheet = Sheet("Ranges of 10 days each way, corrected as edges finish", (0, 80, "edge"), (-50, 50, "days"))
    for number, miss in enumerate(away.tolist()):
        by = conformal.learned(conformal.scores_on(20.0 * number, edges)).factors.pooled
        sheet.line([(number, -10 * by.early), (number, 10 * by.late)], OIL)
        sheet.dots([(number, miss)], STEEL if -10 * by.early <= miss <= 10 * by.late else INK)
    sheet.write("track-record")


def draw_exposure() -> None:
    """A run from 6 to 14 o'clock; the die is turned at 8."""
    hour = 3600.0
    start, end = np.array([6 * hour]), np.array([14 * hour])
    press = timeline_of(
        hours=hours_of_press(start=start, end=end, recorded_h=np.array([7.2])),
        unlogged=False,
        start=start,
        end=end,
        kilograms=np.array([400.0]),
        crop=np.array([0]),
        crops=1,
    )
    across = np.linspace(5, 15, 61)

    def taken(begin: float, end: float) -> Points:
        upto = np.clip(across, begin, end) * hour
        kg = press.kilograms(np.full(across.size, begin * hour), upto).sum(axis=1)
        return list(zip(across.tolist(), kg.tolist(), strict=True))

    sheet = Sheet("One run, flipped at 8 o'clock", (5, 15, "o'clock"), (0, 480, "kg"))
    for begin, end, colour, words in (
        (5.0, 15.0, INK, "screw: 400 kg"),
        (8.0, 15.0, STEEL, "edge B: 300 kg"),
        (5.0, 8.0, OIL, "edge A: 100 kg"),
    ):
        line = taken(begin, end)
        sheet.line(line, colour)
        sheet.text(14.9, line[-1][1] + 10, words, "end")
    sheet.write("exposure")


def draw_season() -> None:
    """5,000 kg planned for ten days, then what the same weeks brought last year."""
    past = DailySeed(first=0, kg=np.where(np.arange(365) < 40, 300.0, 0.0)[:, None])
    plan = [PlanLine(crop=0, start=365, end=374, seed_kg=5000.0)]
    coming = coming_season(as_of=364, past=past, plan=plan)
    days = np.arange(31)
    total = np.concatenate(([0.0], coming.total[:30, 0]))
    spread = 1.2816 * np.sqrt(np.concatenate(([0.0], coming.variance[:30, 0])))
    sheet = Sheet("A plan of ten days, then last year's pace", (0, 32, "days ahead"), (0, 16, "tonnes"))
    for sign in (-1, 1):
        sheet.line(
            list(zip(days.tolist(), ((total + sign * spread) / 1000).tolist(), strict=True)), OIL, dashed=True
        )
    sheet.line(list(zip(days.tolist(), (total / 1000).tolist(), strict=True)), STEEL)
    sheet.line([(0, 1.2), (32, 1.2)], INK, dashed=True)
    reached = float(np.interp(1200, total, days))
    sheet.dots([(reached, 1.2)], INK, 5)
    sheet.text(reached + 0.6, 0.4, f"1,200 kg on day {int(np.ceil(reached))}")
    sheet.write("season")


def points_of(edge: EdgeRecord) -> Points:
    tonnes = (edge.gauge_kg[:, 0] / 1000).tolist()
    return list(zip(tonnes, (gauge.value for gauge in edge.gauges), strict=True))


def draw_wear() -> None:
    """Five finished edges teach what a sixth is heading for; one of its gauges is a slip."""
    rng = np.random.default_rng(3)
    seen = np.array([8000.0, 16000.0, 24000.0, 32000.0])

    def edge(number: int, upto: int, slips: dict[int, float]) -> EdgeRecord:
        own = 0.4 / 40_000 * float(np.exp(rng.normal(0, 0.1)))
        values = [
            5 + own * kg + float(rng.normal(0, 0.015)) + slips.get(at, 0.0)
            for at, kg in enumerate(seen[:upto].tolist())
        ]
        return EdgeRecord(
            key=number,
            part=number,
            gauges=tuple(Gauge(at=float(at), value=value) for at, value in enumerate(values)),
            gauge_kg=seen[:upto, None],
            work_kg=np.zeros((0, 1)),
            now_kg=seen[upto - 1 : upto],
            worn_out=False,
            in_use=number == 5,
        )

    edges = [*(edge(number, 4, {}) for number in range(5)), edge(5, 3, {1: 0.12})]
    fit = fit_type(TypeRecord(key="die", new=5.0, limit=5.4, crops=1, edges=tuple(edges)))
    left = fit.edges[5].seed_left(np.ones(1))
    assert left is not None
    sheet = Sheet("A die's edge among five others", (0, 48, "tonnes"), (4.95, 5.45, "mm"))
    for one in edges[:5]:
        sheet.dots(points_of(one), LINE, 2.5)
    sheet.line([(0, 5.4), (48, 5.4)], INK, dashed=True)
    sheet.text(0.5, 5.41, "limit")
    now = float(edges[5].now_kg[0]) / 1000
    low, mid, high = left.low / 1000, left.mid / 1000, left.high / 1000
    for amount, colour in ((low, OIL), (high, OIL), (mid, STEEL)):
        sheet.line([(0, 5.0), (now + amount, 5.4)], colour, dashed=colour == OIL)
    sheet.dots(points_of(edges[5]), STEEL, 4)
    sheet.text(15.4, edges[5].gauges[1].value + 0.01, "a slip", "end")
    sheet.text(now + mid, 5.42, f"{mid:.0f} t left ({low:.0f} to {high:.0f})", "middle")
    sheet.write("wear")


if __name__ == "__main__":
    HERE.mkdir(exist_ok=True)
    for draw in (
        draw_units,
        draw_mix,
        draw_life,
        draw_recurrence,
        draw_policy,
        draw_drift,
        draw_track_record,
        draw_exposure,
        draw_season,
        draw_wear,
    ):
        draw()

"""The hours of the demo mill's runs, worked out once more from its exported logbook by a script of its own.

The script reads runs.csv and readings.csv and follows docs/decisions/hours-of-a-run.md run by run and stretch
by stretch, in fractions, so that nothing rounds. It shares no line with `wearlog.calc.meters`. The demo is
loaded on its own reference day, so that no number here depends on the day of the test.
"""

from __future__ import annotations

import csv
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest

from wearlog.calc.meters import Source
from wearlog.compare.queries import compare
from wearlog.equipment.models import Press
from wearlog.history import record
from wearlog.logbook import demo
from wearlog.logbook.exchange.exporting import export_logbook
from wearlog.runs.hours import hours_between, of_runs
from wearlog.runs.models import Reading, Run

DAY = date(2026, 3, 4)
"""The demo's reference day: its dates are not moved."""

# --- the script -----------------------------------------------------------------------------------------

MINUTE = timedelta(minutes=1)
TWELVE_MINUTES = Fraction(1, 5)


@dataclass
class Pressed:
    """One run. `share_h` is its share of the press's hours, which count each moment once."""

    ref: str
    crop: str
    start: datetime
    end: datetime
    barrels: frozenset[str]
    seed_kg: Fraction
    own_h: Fraction
    source: str
    share_h: Fraction = Fraction(0)
    alone: bool = True

    @property
    def clock_h(self) -> Fraction:
        return in_hours(self.end - self.start)


@dataclass
class Worked:
    """What the script finds of one press, in hours; the meter's advance over the stretches that tell."""

    runs: list[Pressed] = field(default_factory=list)
    advance_h: Fraction = Fraction(0)
    told_h: Fraction = Fraction(0)
    """Press hours of the runs in those stretches."""
    unlogged_h: Fraction = Fraction(0)

    @property
    def hours_h(self) -> Fraction:
        return sum((run.share_h for run in self.runs), Fraction(0))

    @property
    def hours_per_tonne(self) -> Fraction:
        return self.hours_h / sum(run.seed_kg for run in self.runs) * 1000

    @property
    def sources(self) -> Counter[str]:
        return Counter(run.source for run in self.runs)


def work_out(folder: Path) -> dict[str, Worked]:
    barrels = defaultdict(set)
    for row in rows(folder, "positions"):
        if row["barrel"]:
            barrels[row["press"]].add(row["barrel"])
    return {
        row["press"]: work_out_press(
            sorted(
                (
                    as_pressed(run, frozenset(barrels[row["press"]] or {"the only one"}))
                    for run in rows(folder, "runs")
                    if run["press"] == row["press"]
                ),
                key=lambda run: run.start,
            ),
            sorted(
                (instant(reading["read_at"]), Fraction(reading["meter_h"]), reading["kind"] == "new_meter")
                for reading in rows(folder, "readings")
                if reading["press"] == row["press"]
            ),
            by_meter=row["hours_from"] == "meter",
        )
        for row in rows(folder, "presses")
    }


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def instant(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


def in_hours(length: timedelta) -> Fraction:
    return Fraction(length // timedelta(microseconds=1), 3_600_000_000)


def as_pressed(row: dict[str, str], barrels: frozenset[str]) -> Pressed:
    """The run with what it claims: the hours written down, else the clock's."""
    start = instant(row["started_at"])
    written = Fraction(row["hours_h"]) if row["hours_h"] else None
    end = instant(row["ended_at"]) if row["ended_at"] else start + timedelta(hours=float(row["hours_h"]))
    return Pressed(
        ref=row["ref"],
        crop=row["crop"],
        start=start,
        end=end,
        barrels=frozenset(row["through"].split()) or barrels,
        seed_kg=Fraction(row["seed_kg"]),
        own_h=in_hours(end - start) if written is None else written,
        source="clock" if written is None else "written",
    )


def work_out_press(
    runs: list[Pressed], readings: list[tuple[datetime, Fraction, bool]], *, by_meter: bool
) -> Worked:
    for (at, meter_h, _), (next_at, next_h, new) in pairwise(readings):
        clock_h = in_hours(next_at - at)
        assert new or 0 <= next_h - meter_h <= clock_h + TWELVE_MINUTES, "a slip: this script can't judge it"
    found = Worked(runs)
    bounds = [
        reading
        for reading in readings
        if not any(run.start < reading[0] - MINUTE and run.end > reading[0] + MINUTE for run in runs)
    ]
    for opens, closes in pairwise([None, *bounds, None]):
        inside = [
            run
            for run in runs
            if (opens is None or run.end > opens[0] + MINUTE)
            and (closes is None or run.end <= closes[0] + MINUTE)
        ]
        share_out(inside)
        if opens and closes and not any(new for at, _, new in readings if opens[0] < at <= closes[0]):
            hold_against_the_meter(inside, opens, closes, found, by_meter=by_meter)
    return found


def share_out(runs: list[Pressed]) -> None:
    """Runs that overlap by more than a minute share the hours of the barrel that is busier at each moment."""
    while runs:
        party, until = [runs[0]], runs[0].end
        for run in runs[1:]:
            if run.start >= until - MINUTE:
                break
            party.append(run)
            until = max(until, run.end)
        runs = runs[len(party) :]
        if len(party) == 1:
            party[0].share_h = party[0].own_h
            continue
        together_h = Fraction(0)
        for begin, stop in pairwise(sorted({at for run in party for at in (run.start, run.end)})):
            busy: dict[str, Fraction] = defaultdict(Fraction)
            for run in party:
                if run.start <= begin and stop <= run.end:
                    for barrel in run.barrels:
                        busy[barrel] += run.own_h * in_hours(stop - begin) / run.clock_h
            together_h += max(busy.values())
        for run in party:
            run.alone = False
            run.share_h = run.own_h * together_h / sum(each.own_h for each in party)


def hold_against_the_meter(
    runs: list[Pressed],
    opens: tuple[datetime, Fraction, bool],
    closes: tuple[datetime, Fraction, bool],
    found: Worked,
    *,
    by_meter: bool,
) -> None:
    """Log by the meter the run that ends at the closing reading, scale all where the press goes by its meter,
    and count what is left."""
    advance_h = closes[1] - opens[1]
    if advance_h > in_hours(closes[0] - opens[0]) + TWELVE_MINUTES or (runs and advance_h == 0):
        return
    at_close = [
        run for run in runs if run.source == "clock" and run.alone and abs(run.end - closes[0]) <= MINUTE
    ]
    at_close.sort(key=lambda run: run.clock_h)
    if at_close and (len(at_close) == 1 or at_close[-1].clock_h > at_close[-2].clock_h):
        logged = at_close[-1]
        left_h = advance_h - sum(run.share_h for run in runs if run is not logged)
        if left_h > 0:
            logged.own_h = logged.share_h = min(left_h, logged.clock_h + TWELVE_MINUTES)
            logged.source = "meter"
    press_h = sum((run.share_h for run in runs), Fraction(0))
    if by_meter and press_h > advance_h:
        for run in runs:
            run.own_h *= advance_h / press_h
            run.share_h *= advance_h / press_h
            run.source = "meter"
        press_h = advance_h
    found.advance_h += advance_h
    found.told_h += press_h
    found.unlogged_h += max(advance_h - press_h, Fraction(0))


# --- held against the program ---------------------------------------------------------------------------


def worked_out_by_hand(folder: Path) -> dict[str, Worked]:
    """What the script finds in the log as it stands."""
    export_logbook(by=None, target=folder)
    return work_out(folder)


@pytest.fixture
def demo_mill(db: None) -> None:
    demo.load(by=None, today=DAY)


def assert_every_run_agrees(by_hand: dict[str, Worked]) -> None:
    """Each run's own hours and their source, and each press's unlogged hours."""
    expected = {run.ref: run for press in by_hand.values() for run in press.runs}
    stored = list(Run.objects.not_voided().select_related("press"))
    assert sorted(run.ref for run in stored) == sorted(expected)
    for run, hours in zip(stored, of_runs(stored), strict=True):
        plain = expected[run.ref]
        assert hours.hours_h == pytest.approx(float(plain.own_h), abs=1e-9), run.ref
        assert hours.source.name.lower() == plain.source, run.ref
    seen = record.load(DAY)
    for pk, press in seen.presses.items():
        stretches = seen.hours[pk].stretches
        assert stretches.unlogged_h.sum() == pytest.approx(float(by_hand[press.code].unlogged_h), abs=1e-6)


def assert_the_comparison_agrees(by_hand: dict[str, Worked]) -> None:
    """Hours of each press with each crop, where two crops at once share them, and each press's rate."""
    found = compare(by=("press", "crop"))
    hours: dict[tuple[str, str], Fraction] = defaultdict(Fraction)
    for code, press in by_hand.items():
        for run in press.runs:
            hours[code, run.crop] += run.share_h
    assert {(line.press, line.crop): line.hours_h for line in found.lines} == {
        key: pytest.approx(float(value)) for key, value in hours.items()
    }
    assert {figure.press: figure.crude for figure in found.presses} == {
        code: pytest.approx(float(press.hours_per_tonne)) for code, press in by_hand.items()
    }


def of_the_press(code: str) -> tuple[int, float, float]:
    """Runs, hours and hours per tonne that the comparison shows for one press."""
    (line,) = compare(by=("press",), presses=[code]).lines
    assert line.hours_per_tonne is not None
    return line.runs, round(line.hours_h, 2), round(line.hours_per_tonne, 2)


@pytest.mark.usefixtures("demo_mill")
def test_the_program_and_the_script_agree_on_every_run_and_every_press_of_the_demo(tmp_path: Path) -> None:
    by_hand = worked_out_by_hand(tmp_path / "book")
    assert_every_run_agrees(by_hand)
    assert_the_comparison_agrees(by_hand)


@pytest.mark.usefixtures("demo_mill")
def test_hours_per_tonne_of_each_press_of_the_demo() -> None:
    assert {code: of_the_press(code) for code in ("P1", "P2", "P3", "P4")} == {
        "P1": (912, 7900.26, 72.35),
        "P2": (888, 7711.30, 76.40),
        "P3": (876, 7652.10, 96.33),
        # 19 of its runs went through one barrel, 12 of them beside another.
        "P4": (947, 8235.32, 38.43),
    }


@pytest.mark.usefixtures("demo_mill")
def test_every_hour_on_the_meter_of_yard_press_is_a_run_s(tmp_path: Path) -> None:
    """Its first meter went from 15,890.3 h to 20,518.7 h, the second from 0 h to 3,023.7 h. Nothing turned
    that was not logged, so the nights between its runs, almost 16,000 h of the clock, are nobody's."""
    yard = worked_out_by_hand(tmp_path / "book")["P3"]
    advance_h = Fraction("20518.7") - Fraction("15890.3") + Fraction("3023.7")
    assert yard.sources == {"meter": 876}
    assert (yard.hours_h, yard.told_h, yard.advance_h, yard.unlogged_h) == (advance_h,) * 3 + (0,)

    seen = record.load(DAY)
    (pk,) = (pk for pk, press in seen.presses.items() if press.code == "P3")
    assert Counter(seen.hours[pk].source.tolist()) == {Source.METER: 876}
    assert seen.hours[pk].press_h.sum() == pytest.approx(7652.1)


@pytest.mark.usefixtures("demo_mill")
def test_it_does_not_matter_what_yard_press_counts_by_as_its_meter_logged_every_run() -> None:
    Press.objects.filter(code="P3").update(hours_from="runs")
    assert of_the_press("P3") == (876, 7652.10, 96.33)


@pytest.mark.usefixtures("demo_mill")
@pytest.mark.parametrize("hours_from", ["runs", "meter"])
def test_they_agree_where_readings_are_missing_and_hours_are_written_too_high(
    tmp_path: Path, hours_from: str
) -> None:
    """Every third reading was never taken, and on Yard press every fifth run claims two hours too many."""
    Press.objects.update(hours_from=hours_from)
    readings = Reading.objects.order_by("press__code", "read_at").exclude(kind="new_meter")
    Reading.objects.filter(pk__in=list(readings.values_list("pk", flat=True))[::3]).delete()
    for run in Run.objects.filter(press__code="P3").order_by("started_at")[::5]:
        clock_h = hours_between(run.started_at, run.ended_at)
        Run.objects.filter(pk=run.pk).update(hours_h=round(Decimal(clock_h) + 2, 2))

    by_hand = worked_out_by_hand(tmp_path / "book")

    assert by_hand["P3"].sources.keys() == {"written", "meter", "clock"}
    assert_every_run_agrees(by_hand)
    assert_the_comparison_agrees(by_hand)
    yard = by_hand["P3"]
    if hours_from == "meter":
        assert yard.told_h + yard.unlogged_h == yard.advance_h
    else:  # what was written counts in full
        assert yard.told_h > yard.advance_h

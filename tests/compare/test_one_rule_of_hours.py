"""One rule of hours: whatever was logged, every place that shows or sums hours of runs says the same.

The logs are made up at random and entered through the one door, not always in order of time: runs with
written hours, by the clock and by the meter, new meters and slips, two barrels at once, readings under a run,
nights in which the clocks change, corrections and strikes.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from random import Random
from statistics import median
from typing import Any

import numpy as np
import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from tests.dates import at
from tests.examples import bounded
from wearlog.calc.meters import Source
from wearlog.compare import runtable
from wearlog.compare.stopping import pressed
from wearlog.equipment.models import Position, Press
from wearlog.history.record import NO_RUNS, Record, load
from wearlog.history.rows import WORKED_OUT
from wearlog.logbook import actions
from wearlog.logbook.entries import NewRun
from wearlog.logbook.exchange.exporting import export_logbook
from wearlog.people.models import User
from wearlog.people.refusals import Doubtful, Refused
from wearlog.runs import hours, queries
from wearlog.runs.models import Crop, Reading, Run

CLOCKS_CHANGE = (at("2026-03-29 01:00"), at("2026-10-25 01:00"))
"""In Vienna: 2:00 became 3:00 in March, 3:00 became 2:00 in October 2026."""
NOW = at("2026-12-30 18:00")
MINUTE = timedelta(minutes=1)
BY_THE_METER = ("meter", "counted back")
HOWS = (*BY_THE_METER, "meter", "written", "clock", "across", "both barrels")


# --- logs made up ------------------------------------------------------------------------------------


@dataclass
class Entry:
    """A run, or a reading of the meter where it is not `run`."""

    press: Press
    end: datetime
    start: datetime | None = None
    hours: Decimal | None = None
    meter: Decimal | None = None
    new_meter: bool = False
    through: str = ""
    run: bool = True
    more: dict[str, Any] = field(default_factory=dict)


@dataclass
class Book:
    """A mill with one press of one barrel and one twin, and what is entered there."""

    random: Random
    by: User
    single: Press
    twin: Press
    crops: list[Crop]
    entered: int = 0

    def enter(self, entry: Entry) -> None:
        if not entry.run:
            assert entry.meter is not None
            took(
                actions.log_reading,
                by=self.by,
                press_id=entry.press.pk,
                read_at=entry.end,
                meter_h=entry.meter,
                new_meter=entry.new_meter,
            )
            return
        self.entered += 1
        run = NewRun(
            press_id=entry.press.pk,
            started_at=entry.start,
            ended_at=entry.end if entry.hours is None or self.random.random() < 0.7 else None,
            hours_h=entry.hours,
            meter_h=entry.meter,
            through=entry.through,
            **{
                "crop_id": self.crops[0].pk if self.random.random() < 0.8 else self.crops[1].pk,
                "seed_kg": Decimal(400) + Decimal(self.entered) / 1000,
                "purge": self.random.random() < 0.1,
                **entry.more,
            },
        )
        took(actions.log_run, by=self.by, entry=run)


def took(action: Callable[..., Any], **values: Any) -> Any:
    """What the door answers; doubts are confirmed, what is refused is not logged."""
    confirmed: set[str] = set()
    while True:
        try:
            return action(at=NOW, confirmed=confirmed, **values)
        except Doubtful as asked:
            confirmed |= {doubt.code for doubt in asked.doubts}
        except Refused:
            return None


def decimal(number: float, digits: int = 2) -> Decimal:
    return Decimal(str(round(number, digits)))


def history(
    random: Random,
    press: Press,
    *,
    runs: int,
    hows: Sequence[str] = HOWS,
    barrels: bool = False,
    slips: bool = False,
) -> Iterator[Entry]:
    """What happened at a press, in order of time: runs as people log them, and a meter that mostly counts."""
    clock = random.choice(CLOCKS_CHANGE) - random.choice((60, 180, 333)) * MINUTE
    meter = random.choice((0.0, 1000.0, 9990.5))

    def read(instant: datetime, shown: float, *, new: bool = False) -> Entry:
        return Entry(press, instant, meter=decimal(max(0.0, shown), 6), new_meter=new, run=False)

    if hows is BY_THE_METER or random.random() < 0.8:
        yield read(clock, meter)
    for _ in range(runs):
        clock += random.choice((0, 0, 10, 60, 660)) * MINUTE
        length = random.choice((30, 90, 240, 480, 613)) * MINUTE + random.choice((0, 0, 1.234567)) * MINUTE
        took_h = length / MINUTE / 60
        before = meter
        meter += random.choice((0.0, 0.0, 0.1)) + took_h * random.choice((1.0, 1.0, 0.9, 0.5))
        if slips:
            meter += random.choice((0.0, 0.0, 0.1, 0.3))
        shown = decimal(meter, random.choice((1, 2, 2, 6)))
        meter = max(before, float(shown))
        end, written = clock + length, decimal(meter - before)
        how = random.choice(hows)
        if how == "both barrels" and barrels:
            later = clock + random.choice((0, 20, 45)) * MINUTE
            apart = random.choice(("written", "clock", "meter"))
            hours_h = written if apart == "written" else None
            yield Entry(press, end, clock, hours=hours_h, through="left")
            end = later + length
            metered = shown if apart == "meter" else None
            yield Entry(press, end, later, hours=hours_h, meter=metered, through="right")
        elif how == "written":
            yield Entry(press, end, clock, hours=written)
        elif how == "meter":
            yield Entry(press, end, clock, meter=shown)
        elif how == "counted back":
            yield Entry(press, end, meter=shown)
        else:
            through = random.choice(("", "left", "right")) if barrels else ""
            yield Entry(press, end, clock, through=through)
            if how == "across":
                yield read(clock + length / 2, (before + meter) / 2)
        clock = end
        if random.random() < 0.4:
            clock += random.choice((0, 5, 30)) * MINUTE
            yield read(clock, meter)
        if slips and random.random() < 0.15:
            clock += 3 * MINUTE
            yield read(clock, random.choice((meter * 10 + 7, meter - 90, meter + 40)))
        if slips and random.random() < 0.1:
            clock, meter = clock + 4 * MINUTE, random.choice((0.0, 3.5, 20000.0))
            yield read(clock, meter, new=random.random() < 0.6)
    if random.random() < 0.3:
        yield Entry(press, clock, clock, more={"seed_kg": Decimal(0)})


def change(book: Book) -> None:
    """Correct or strike out something that stands."""
    random = book.random
    entries: list[Run] | list[Reading] = list(Run.objects.not_voided().order_by("pk"))
    if random.random() < 0.4 or not entries:
        entries = list(Reading.objects.not_voided().order_by("pk"))
    if not entries:
        return
    record = random.choice(entries)
    if random.random() < 0.25:
        actions.void(by=book.by, at=NOW, record=record, reason="a slip")
        return
    if isinstance(record, Reading):
        step = random.choice(("0.1", "-0.1", "1.5", "-20"))
        changes: dict[str, Any] = {"meter_h": max(Decimal(0), record.meter_h + Decimal(step))}
    elif random.random() < 0.5:
        changes = {"hours_h": random.choice((None, Decimal("1.25"), Decimal("4.333333")))}
    else:
        moved = (record.ends_at or record.started_at) + random.choice((-20, -1, 7, 45)) * MINUTE
        changes = {"ended_at": moved}
    took(actions.correct, by=book.by, record=record, changes=changes, reason="a slip")


@pytest.fixture
def book(owner: User, seed: int) -> Book:
    """An empty one; `fill` fills it."""
    random = Random(seed)
    single, twin = (
        Press.objects.create(code=code, hours_from=random.choice(("runs", "meter"))) for code in ("P1", "P2")
    )
    barrels_of(twin)
    crops = [Crop.objects.create(code=code) for code in ("rape", "flax")]
    return Book(random, owner, single, twin, crops)


def barrels_of(press: Press) -> None:
    for barrel in ("left", "right"):
        Position.objects.create(press=press, name=f"{barrel} screw", kind="screw", barrel=barrel)


def fill(book: Book) -> None:
    random = book.random
    # A long log is longer than what a page reads of it.
    single = random.randrange(25, 40) if random.random() < 0.2 else random.randrange(1, 9)
    entries = [
        *history(random, book.single, runs=single, slips=random.random() < 0.5),
        *history(random, book.twin, barrels=True, runs=random.randrange(0, 7), slips=random.random() < 0.7),
    ]
    if random.random() < 0.6:
        random.shuffle(entries)
    for entry in entries:
        book.enter(entry)
    for _ in range(random.choice((0, 0, 2, 4))):
        change(book)
    last = Run.objects.not_voided().filter(press=book.single).order_by("-ends_at").first()
    if random.random() < 0.3 and last is not None and last.ends_at is not None:
        goes_on = NewRun(
            press_id=book.single.pk,
            crop_id=book.crops[0].pk,
            seed_kg=Decimal(0),
            started_at=last.ends_at + random.choice((0, 90)) * MINUTE,
        )
        took(actions.log_run, by=book.by, entry=goes_on)
    if random.random() < 0.5:
        # What the usual rate is worked from, and a seed that is worked out by it.
        guessed = {"seed_kg": None, "seed_how": "worked_out"}
        book.enter(Entry(book.single, at("2026-12-20 12:00"), at("2026-12-20 08:00"), more=guessed))


# --- what every place says ---------------------------------------------------------------------------


def not_voided(press: Press) -> list[Run]:
    return list(Run.objects.of(press).filter(ends_at__isnull=False).select_related("press", "crop"))


def own_hours(record: Record, press: Press) -> dict[int, float]:
    """The hours of each run as forecasts take them, by primary key."""
    keys = record.runs.get(press.pk, NO_RUNS).id
    return dict(zip(keys.tolist(), record.run_hours(press.pk).tolist(), strict=True))


def rows(*columns: np.ndarray) -> list[tuple[float, ...]]:
    return sorted(zip(*(column.tolist() for column in columns), strict=True))


def analysed(folder: Path, press: Press) -> dict[str, Any]:
    """What `manage.py analyse hours` says of a press of the logbook in the folder."""
    out = io.StringIO()
    files = (str(folder / "runs.csv"), "--readings", str(folder / "readings.csv"))
    by_meter = ("--by-meter",) if press.hours_from == "meter" else ()
    options = ("--press", press.code, "--format", "json", *by_meter)
    call_command("analyse", "hours", *files, *options, stdout=out)
    said: dict[str, Any] = json.loads(out.getvalue())
    return said


def rate_by_hand(runs: list[Run], own: dict[int, float]) -> float | None:
    """The median pace of the last twenty runs that tell one."""
    told = [run for run in runs if not run.purge and run.seed_kg > 0 and run.seed_how != "worked_out"]
    latest = sorted(told, key=lambda run: (run.ends_at, run.pk), reverse=True)[:20]
    rates = [float(run.seed_kg) / own[run.pk] for run in latest if own[run.pk] >= 0.25]
    return median(rates) if len(rates) >= 3 else None


def assert_the_same_everywhere(book: Book, client: Client, folder: Path) -> None:
    """What forecasts count is what a run says of itself, alone and among others, what `analyse hours` makes
    of the exported files, what comparison, stop rule and usual rate go by, and what the run's page shows."""
    client.force_login(book.by)
    export_logbook(by=None, target=folder)
    record = load(NOW.date())
    for press in (book.single, book.twin):
        runs, own = not_voided(press), own_hours(record, press)
        assert sorted(own) == sorted(run.pk for run in runs)
        one_by_one = [hours.of_run(run) for run in runs]
        assert [found.hours_h for found in one_by_one] == [own[run.pk] for run in runs]
        assert hours.of_runs(runs) == one_by_one
        if runs or press.pk in record.readings:
            assert_the_files_say_so(analysed(folder, press), record, press)
        assert_comparisons_say_so(record, press)
        for crop in book.crops:
            usual = queries.usual_rate(press, crop)
            by_hand = rate_by_hand([run for run in runs if run.crop_id == crop.pk], own)
            assert (usual and usual.kg_per_h) == by_hand
        for run in runs:
            assert on_its_page(client, run) == own[run.pk]


def assert_the_files_say_so(said: dict[str, Any], record: Record, press: Press) -> None:
    own = own_hours(record, press)
    by_ref = {run["ref"]: run["hours"] for run in said["runs"] if run["hours"] is not None}
    assert by_ref == {run.ref: own[run.pk] for run in not_voided(press)}
    table = record.hours[press.pk].stretches
    columns = (table.advance_h, table.press_h, table.unlogged_h, table.usable)
    stretches = [list(row) for row in zip(*(column.tolist() for column in columns), strict=True)]
    assert [stretch[2:] for stretch in said["presses"][0]["stretches"]] == stretches


def assert_comparisons_say_so(record: Record, press: Press) -> None:
    runs = record.runs.get(press.pk, NO_RUNS)
    share = record.press_hours(press.pk)
    table = runtable.load()
    mine = (table.press == table.press_codes.index(press.code)) & ~np.isnan(table.hours)
    assert rows(table.started[mine], table.seed_kg[mine], table.hours[mine]) == rows(
        runs.start[share > 0], runs.seed_kg[share > 0], share[share > 0]
    )
    counted = ~runs.purge & (runs.seed_kg > 0) & (runs.seed_how != WORKED_OUT)
    judged = pressed(record, {press.pk}).get(press.pk)
    assert (judged is None) == (not counted.any())
    if judged is not None:
        assert rows(judged.start, judged.seed_kg, judged.hours) == rows(
            runs.start[counted], runs.seed_kg[counted], record.run_hours(press.pk)[counted]
        )


def on_its_page(client: Client, run: Run) -> float | None:
    page = client.get(reverse("web:record", kwargs={"kind": "run", "pk": run.pk}))
    found: float | None = page.context["hours"].hours_h
    return found


# --- whatever was logged -----------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(bounded(24, 12)))
def test_every_place_says_the_same_hours_of_a_run_to_the_last_bit(
    seed: int, book: Book, client: Client, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Pages that look less far at first read only part of a short log too.
    monkeypatch.setattr(hours, "REACH", 2 + seed % 11)
    fill(book)
    assert_the_same_everywhere(book, client, tmp_path / "book")


@pytest.mark.parametrize("seed", range(100, 100 + bounded(8, 4)))
def test_the_order_in_which_a_log_is_entered_changes_no_bit_of_an_hour(seed: int, book: Book) -> None:
    fill(book)
    for press in (book.single, book.twin):
        again = Press.objects.create(code=f"{press.code} again", hours_from=press.hours_from)
        if press == book.twin:
            barrels_of(again)
        stored: list[Run] = list(Run.objects.of(press))
        readings = list(Reading.objects.not_voided().filter(press=press))
        book.random.shuffle(stored)
        book.random.shuffle(readings)
        for run in stored:
            run.pk, run.ref, run.press = None, f"{run.ref} again", again
            run.derive()
        for reading in readings:
            reading.pk, reading.press = None, again
        Run.objects.bulk_create(stored)
        Reading.objects.bulk_create(readings)

        record = load(NOW.date())
        own, own_again = own_hours(record, press), own_hours(record, again)
        usual = {f"{run.ref} again": own[run.pk] for run in not_voided(press)}
        assert {run.ref: own_again[run.pk] for run in not_voided(again)} == usual
        assert [found.hours_h for found in hours.of_runs(not_voided(again))] == [
            usual[run.ref] for run in not_voided(again)
        ]


@pytest.mark.parametrize("seed", range(200, 200 + bounded(8, 4)))
def test_a_press_by_its_meter_has_pressed_or_not_logged_what_the_meter_advanced(
    seed: int, book: Book
) -> None:
    Press.objects.update(hours_from="meter")
    fill(book)
    record = load(NOW.date())
    for press in (book.single, book.twin):
        found = record.hours[press.pk]
        table = found.stretches
        for number in np.flatnonzero(table.usable):
            counted = np.nansum(found.press_h[found.stretch == number])
            assert counted + table.unlogged_h[number] == pytest.approx(table.advance_h[number], abs=1e-9)


@pytest.mark.parametrize("seed", range(300, 300 + bounded(10, 5)))
def test_where_each_run_is_logged_by_the_meter_it_does_not_matter_what_the_press_goes_by(
    seed: int, book: Book
) -> None:
    for entry in history(book.random, book.single, runs=book.random.randrange(1, 9), hows=BY_THE_METER):
        book.enter(entry)
    said = {}
    for choice in ("runs", "meter"):
        Press.objects.update(hours_from=choice)
        runs = [run for run in not_voided(book.single) if run.ends_at != run.started_at]
        assert {found.source for found in hours.of_runs(runs)} == {Source.METER}
        said[choice] = own_hours(load(NOW.date()), book.single)
    assert said["runs"] == said["meter"]


# --- worked by hand ----------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [1])
def test_a_run_written_later_takes_its_hours_from_the_run_that_the_meter_logged(
    seed: int, book: Book, client: Client
) -> None:
    client.force_login(book.by)
    press, by = book.single, book.by
    Press.objects.update(hours_from="runs")

    def says(run: Run) -> tuple[float | None, float]:
        return on_its_page(client, run), own_hours(load(NOW.date()), press)[run.pk]

    first = at("2026-03-02 05:30")
    actions.log_reading(by=by, at=NOW, press_id=press.pk, read_at=first, meter_h=Decimal(100))
    common = {"press_id": press.pk, "crop_id": book.crops[0].pk, "seed_kg": Decimal(400)}
    metered = actions.log_run(
        by=by, at=NOW, entry=NewRun(**common, ended_at=at("2026-03-02 12:00"), meter_h=Decimal("104.5"))
    )
    assert metered.started_at == at("2026-03-02 07:30")
    assert says(metered) == (4.5, 4.5)

    written = actions.log_run(
        by=by, at=NOW, entry=NewRun(**common, started_at=first, ended_at=first + 120 * MINUTE)
    )
    # 4.5 h on the meter less the 2 h of the run before.
    assert says(metered) == (2.5, 2.5)
    assert says(written) == (2.0, 2.0)
    metered.refresh_from_db()
    assert metered.hours_h is None
    assert metered.started_at == at("2026-03-02 07:30")


@pytest.mark.parametrize("seed", [1])
@pytest.mark.parametrize("hours_from", ["runs", "meter"])
def test_six_decimals_count_as_they_were_written(
    seed: int, hours_from: str, book: Book, client: Client, tmp_path: Path
) -> None:
    # SQLite 3.40 reads each of these two numbers as the binary number beside the nearest one.
    hours_h, meter_h = Decimal("1.004274"), Decimal("1167.392201")
    Press.objects.update(hours_from=hours_from)
    for press in (book.single, book.twin):
        press.refresh_from_db()
        for entry in (
            Entry(press, at("2026-03-02 06:00"), meter=Decimal(1160), run=False),
            Entry(press, at("2026-03-02 07:30"), at("2026-03-02 06:00"), hours=hours_h),
            Entry(press, at("2026-03-02 15:00"), at("2026-03-02 07:30"), meter=meter_h),
        ):
            book.enter(entry)
        own = own_hours(load(NOW.date()), press)
        # The binary numbers nearest to 1.004274, and to 1167.392201 less 1160 less 1.004274.
        assert [own[run.pk] for run in not_voided(press)] == [1.004274, 6.387926999999887]
    assert_the_same_everywhere(book, client, tmp_path / "book")

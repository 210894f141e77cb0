"""Made-up records for the page that shows every component of the design. None of them is stored."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from types import SimpleNamespace

from wearlog.equipment.models import Press
from wearlog.forecasts.items import DueItem, WearFigure
from wearlog.lockout.cautions.caution import Caution
from wearlog.lockout.cautions.queries import caution_for
from wearlog.lockout.cautions.wordings import of_rows
from wearlog.lockout.models import CautionWording, EnergyKind, EnergySource, Isolation, Lock
from wearlog.people.refusals import Doubt
from wearlog.runs.models import Crop, Run, ShiftNote
from wearlog.service.models import Incident, LotHold
from wearlog.web.drawing.press import PressDrawing, Seat, draw
from wearlog.web.log.forms.events import ReadingForm
from wearlog.web.machines.tables import PartTable
from wearlog.web.site.fields import Reader
from wearlog.web.site.frames import Frame
from wearlog.web.site.isolations import OpenIsolation
from wearlog.web.site.log_lines import LogLine

NORTH = Press(pk=1, code="P1", name="North press")
POINTS = ("main motor", "heater circuit", "feed auger", "drive's capacitors")
WORN = WearFigure(
    new_mm=5.0,
    limit_mm=5.4,
    measured_mm=5.33,
    measured_on=date(2026, 3, 2),
    now_mm=5.37,
    now_low_mm=5.36,
    now_high_mm=5.39,
)
STRIPS = (
    replace(WORN, measured_mm=None, measured_on=None, now_mm=5.02, now_low_mm=5.0, now_high_mm=5.05),
    replace(WORN, measured_mm=5.1, now_mm=5.14, now_low_mm=5.11, now_high_mm=5.2),
    WORN,
    replace(WORN, measured_mm=5.38, now_mm=5.43, now_low_mm=5.4, now_high_mm=5.45),
    replace(WORN, now_mm=None, now_low_mm=None, now_high_mm=None),
)
"""Wear when new, in use, near the limit, beyond it, and with a gauge but nothing known since."""


def sources(count: int) -> list[EnergySource]:
    return [
        EnergySource(press=NORTH, source=name, kind=EnergyKind.ELECTRICAL, isolate_at=f"isolator Q{number}")
        for number, name in enumerate(POINTS[:count], start=1)
    ]


def cautions() -> list[Caution]:
    """One for each signal word: with many isolation points, on the bench, and raised by an owner for one
    press."""
    danger = CautionWording(number=1, hazard="trapped-pressure", word="DANGER", added="This die plugs weekly")
    return [
        caution_for(action="flip", kind="die", sources=sources(4)),
        caution_for(action="inspect", kind="die", sources=sources(2), on_press=False),
        caution_for(action="flip", kind="die", sources=(), wordings=of_rows([danger])),
    ]


def frame(today: date) -> Frame:
    """A press with one task in each state."""
    jobs = items(today)
    return Frame(1, jobs[0].press_name, cautions()[0], tuple(jobs), doing="rapeseed, lot 41")


def items(today: date) -> list[DueItem]:
    """One task in each state."""
    warning = cautions()[0]
    base = DueItem(
        rule="die at its limit",
        action="flip",
        press="P1",
        position="die",
        part="D5-04",
        edge="A",
        state="due",
        trigger="limit",
        due_on=today,
        early_on=today,
        late_on=today + timedelta(days=6),
        left_kg=2700,
        left_h=None,
        left_days=None,
        basis="measured",
        why="Edge A has worn 0.37 of 0.40 mm after 34.1 t.",
        caution=warning,
        rule_id=1,
        press_id=1,
        position_id=1,
        part_id=1,
        fitting_id=None,
        kind="die",
        press_name="North press",
        instructions="",
        size_mm=5.0,
        lead_days=7,
        cycle="f1",
        wear=WORN,
    )
    look = replace(
        base, action="inspect", kind="screw", part="S-02", edge="", wear=None, instructions="Flight 1."
    )
    return [
        replace(look, state="overdue", due_on=today - timedelta(days=9), why="30 days were over 9 days ago."),
        base,
        replace(look, state="coming", due_on=today + timedelta(days=5), why="Sunflower ends in 5 days."),
        replace(look, state="unknown", due_on=None, why="No run is logged since this screw was fitted."),
        replace(
            look, state="later", due_on=today + timedelta(days=200), why="In 200 days at the plan's pace."
        ),
    ]


def drawings() -> list[PressDrawing]:
    """A press with one barrel, and one with two."""
    single = ("magnet", "screw", "barrel", "head", "heater", "die", "bearing", "gearbox", "belt", "motor")
    twin = (
        ("screw", "left"),
        ("screw", "right"),
        ("die", "left"),
        ("die", "right"),
        ("gearbox", ""),
        ("motor", ""),
    )
    return [
        draw([seat(number, kind, "") for number, kind in enumerate(single, start=1)]),
        draw([seat(number, kind, barrel) for number, (kind, barrel) in enumerate(twin, start=1)]),
    ]


def seat(number: int, kind: str, barrel: str) -> Seat:
    wear = WORN if kind in ("screw", "die") else None
    return Seat(number, kind, barrel, "/presses/", f"{barrel} {kind}".strip(), wear)


def form(reader: Reader) -> ReadingForm:
    """A form with errors and an unconfirmed question."""
    bound = ReadingForm({"press": "1", "meter_h": "12x", "read_at": "40.13."}, reader=reader)
    bound.is_valid()
    slip = "53 mm on D5-04 is far off: the last value there was 5.31 mm on 2026-03-01. Did you mean 5.3 mm?"
    bound.ask(
        [
            Doubt(code="slow", question="9 h between two readings, 2 h of runs are logged."),
            Doubt("slip", slip, again=True, typed=Decimal(53), instead=(Decimal("5.3"),)),
            Doubt("step", "0.1 mm on D5-04 is far off: new it is 5 mm. Is the value right?", again=True),
        ]
    )
    return bound


def table(rows: Sequence[str] = ("D5-04", "D5-05", "S-02")) -> PartTable:
    return PartTable(
        [
            {"part": code, "pk": 1, "kind": "die", "part_type": "D5", "place": "North press, die", "worn": 92,
             "due_on": date(2026, 3, 4), "next_words": "Wed 4 Mar"}
            for code in rows
        ]
    )  # fmt: skip


def line(now: datetime) -> LogLine:
    return LogLine(now, "Run", "rapeseed, 410 kg, lot 31, 7.5 h", "Mira", "run", 1)


def banners(now: datetime) -> dict[str, object]:
    """The context of the banners above a page."""
    metal = Incident(pk=1, press=NORTH, happened_at=now, kind="metal", note="A bolt in the magnet.")
    stopped = Isolation(pk=1, press=NORTH, work="Flip the die", begun_at=now)
    lock = Lock(
        pk=1, isolation=stopped, source_name="main motor", number="7", holder_name="Mira", fitted_at=now
    )
    return {
        "hold": LotHold(pk=1, incident=metal, lot="30", held_at=now),
        "shown": OpenIsolation(isolation=stopped, locks=[lock], own=[], testing=[]),
        "run": Run(
            pk=1, press=NORTH, crop=Crop(pk=1, code="linseed"), lot="31", started_at=now, done_by="Mira"
        ),
        "note": ShiftNote(written_at=now, by_name="Mira", text="Lot 31 is dusty.", press=NORTH),
        "stops": [SimpleNamespace(person_id=0, person="Mira", address="mira@mill.example")],
    }

"""A record of the log as one line: a run, a reading, work, a gauge, an incident, a fitting, a note."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.equipment.models import Fitting
from wearlog.people.models import LogRecord
from wearlog.people.words import day as in_figures
from wearlog.people.words import in_language
from wearlog.runs import hours
from wearlog.runs.models import Reading, ReadingKind, Run, SeedHow, ShiftNote
from wearlog.service.models import Bound, CropChange, Incident, LotHold, Measurement, Service
from wearlog.words.actions import done_word
from wearlog.words.kinds import at_place, fitted_part_words
from wearlog.words.tasks import worded


@dataclass(frozen=True)
class RecordWords:
    """A record in words: `press` is empty where it has none, `note` where nobody added one."""

    press: str
    text: str
    note: str

    @property
    def with_note(self) -> str:
        """Text and note in one line, for a list that shows the press elsewhere."""
        return f"{self.text}: {self.note}" if self.note else self.text


def words_of(record: LogRecord, system: str) -> RecordWords:
    """The record in the units of `system`. Reads related rows: fetch them with select_related in lists."""
    if isinstance(record, Run):
        return RecordWords(str(record.press), run_words(record, system), record.note)
    if isinstance(record, Reading):
        return RecordWords(str(record.press), reading_words(record), "")
    if isinstance(record, Service):
        note = " ".join(filter(None, (record.finding, record.note)))
        return RecordWords(str(record.press), work_words(record, system), note)
    if isinstance(record, Measurement):
        press = str(record.service.press) if record.service else ""
        return RecordWords(press, gauge_words(record, system), record.note)
    if isinstance(record, Incident):
        return RecordWords(str(record.press), incident_words(record), record.note)
    if isinstance(record, Fitting):
        return RecordWords(str(record.position.press), fitting_words(record), "")
    assert isinstance(record, ShiftNote)
    return RecordWords(str(record.press or ""), record.text, "")


def seed_words(run: Run, system: str) -> str:
    """`400 kg`, `about 400 kg`, `400 kg worked out`."""
    mass = units.show_mass(run.seed_kg, system)
    if run.seed_how == SeedHow.ABOUT:
        return _("about %(mass)s") % {"mass": mass}
    if run.seed_how == SeedHow.WORKED_OUT:
        return _("%(mass)s worked out") % {"mass": mass}
    return mass


def run_words(run: Run, system: str) -> str:
    """`400 kg rapeseed, 7.5 h, lot 31`; `rapeseed, running, lot 31`."""
    if run.ends_at is None:
        words = [_("%(crop)s, running") % {"crop": run.crop}]
    elif (pressed := hours.hours_without_readings(run)) is not None:
        words = [f"{seed_words(run, system)} {run.crop}", units.show_hours(pressed, system)]
    else:
        words = [
            f"{seed_words(run, system)} {run.crop}",
            _("until %s") % until(run.started_at, run.ends_at),
        ]
    if run.lot:
        words.append(_("lot %s") % run.lot)
    if run.oil_kg is not None:
        words.append(_("oil %s") % units.show_mass(run.oil_kg, system))
    if run.through:
        words.append(_("through %s") % run.through)
    if run.purge:
        words.append(_("purge"))
    return ", ".join(words)


def until(start: datetime, end: datetime) -> str:
    """The time of the end, with the day if it is not that of the start."""
    zone = timezone.get_current_timezone()
    start, end = start.astimezone(zone), end.astimezone(zone)
    clock = f"{end:%H:%M}"
    return clock if start.date() == end.date() else f"{in_figures(end)} {clock}"


def reading_words(reading: Reading) -> str:
    """`Meter at 1234.5 h`: all digits that were read, never rounded."""
    meter = in_language(units.plain(reading.meter_h))
    if reading.kind == ReadingKind.NEW_METER:
        return _("New meter, begins at %s h") % meter
    return _("Meter at %s h") % meter


def done_words(service: Service) -> str:
    """`Flipped die D5-04, edge A`: like `words.tasks.heading`, for work that was done."""
    if service.part is not None:
        thing = fitted_part_words(service.part, service.edge)
    else:
        thing = service.position.name if service.position is not None else _("the press")
    return worded(done_word(service.action), thing)


def work_words(service: Service, system: str) -> str:
    """`Flipped die D5-04, edge A (left die)`; `Cleaned the press, for rapeseed, signed by Mira, purge 12 kg,
    0:45 h`."""
    words = done_words(service)
    if service.part is not None and service.position is not None:
        words = at_place(words, service.position.name)
    change: CropChange | None = getattr(service, "crop_change", None)
    if change is not None:
        words += ", " + _("for %(crop)s, signed by %(name)s") % {
            "crop": change.to_crop,
            "name": change.signed_by,
        }
        words += purge_words(change, system)
    return words


def purge_words(change: CropChange, system: str) -> str:
    """`, purge 12 kg, 0:45 h`; empty where nothing is known of it."""
    known = []
    if change.purge_kg is not None:
        known.append(units.show_mass(change.purge_kg, system))
    if change.purge_h is not None:
        known.append(f"{units.show_clock(change.purge_h)} h")
    return ", " + _("purge %s") % ", ".join(known) if known else ""


def done_line(service: Service) -> str:
    """`Flipped die D5-04, edge A · Press 2`, or `Lubricated Press 1`: like `words.tasks.task_line`, for work
    that was done."""
    if service.part is None and service.position is None:
        return worded(done_word(service.action), str(service.press))
    return f"{done_words(service)} · {service.press}"


def gauge_words(gauge: Measurement, system: str) -> str:
    """`die D5-04, edge A: at least 5.20 mm, exit`."""
    return f"{fitted_part_words(gauge.part, gauge.edge)}: {gauge_value_words(gauge, system)}"


def gauge_value_words(gauge: Measurement, system: str) -> str:
    """`at least 5.20 mm, exit`: a gauge of a part that is named already."""
    value = units.show_length(gauge.value_mm, system)
    if gauge.bound == Bound.AT_LEAST:
        value = _("at least %s") % value
    elif gauge.bound == Bound.BELOW:
        value = _("below %s") % value
    extra = [gauge.place, gauge.get_phase_display() if gauge.phase else ""]
    return ", ".join([value, *filter(None, extra)])


def incident_words(incident: Incident) -> str:
    """`Metal in the seed, screw; lot 31 on hold`."""
    kind = str(incident.get_kind_display())
    words = kind[:1].upper() + kind[1:]
    if incident.position is not None:
        words += f", {incident.position.name}"
    hold: LotHold | None = getattr(incident, "hold", None)
    if hold is not None:
        lot = hold.lot or "?"
        if hold.released_at is None:
            words += "; " + _("lot %s on hold") % lot
        else:
            words += "; " + _("lot %(lot)s released by %(name)s") % {"lot": lot, "name": hold.released_by}
    return words


def fitting_words(fitting: Fitting) -> str:
    """`die D5-04, edge A on left die`."""
    return _("%(part)s on %(position)s") % {
        "part": fitted_part_words(fitting.part, fitting.edge),
        "position": fitting.position.name,
    }

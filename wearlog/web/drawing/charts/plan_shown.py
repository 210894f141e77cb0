"""The season plan as a calendar, as pages show it: two pictures, the sentence above them, and the caution of
every press whose jobs stand in it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.calc import units
from wearlog.forecasts.items import DueItem
from wearlog.history.record import Record
from wearlog.history.rows import ServiceRow
from wearlog.lockout.cautions.hazards import shown_word
from wearlog.people.dates import written
from wearlog.web.drawing.charts.calendar import NARROW, STRIPS, WIDE, CalendarWords, spec
from wearlog.web.drawing.charts.campaigns import SHOWN_WORK, Calendar, ends_on, season_calendar
from wearlog.web.drawing.charts.months import ticks
from wearlog.web.drawing.charts.render import chart_svg
from wearlog.web.site.frames import Frame
from wearlog.words.actions import action_word, noun_of, work_word
from wearlog.words.kinds import kind_words, part_words
from wearlog.words.tasks import state_word, worded

SIGNAL_WORDS = ("CAUTION", "WARNING", "DANGER")


@dataclass(frozen=True)
class CalendarPicture:
    """`word` is the strongest signal word of the frames, `dangers` name the hazards of all of them; both are
    empty without jobs. A page shows the pictures only together with these and the frames."""

    wide: SafeString
    narrow: SafeString
    sentence: str
    frames: tuple[Frame, ...]
    jobs: int
    word: str
    dangers: tuple[str, ...]
    rows: tuple[tuple[str, str, str, str, bool], ...]
    """The campaigns as a table: press, crop, days, seed, and whether it was pressed."""
    meanwhile: tuple[tuple[str, str, str], ...]
    """Work and stand-still as a table: press, day or days, and what it was, in order of time."""
    more: int

    @property
    def more_jobs(self) -> int:
        """How many jobs are in no frame."""
        return self.jobs - sum(len(frame.jobs) for frame in self.frames)


def falls_in(record: Record, job: DueItem) -> bool:
    """Whether a job belongs into the calendar of this season."""
    return job.due_on is not None and job.due_on <= ends_on(record)


def calendar_picture(
    record: Record,
    frames: Sequence[Frame],
    *,
    system: str,
    jobs: int,
    stands_since: Mapping[int, float] | None = None,
) -> CalendarPicture | None:
    """The calendar of this season; None for a mill without presses in service. frames: the jobs that fall due
    in it (`falls_in`), or the most urgent of them; jobs: how many they are in all."""
    calendar = season_calendar(record, frames, stands_since=stands_since)
    if not calendar.presses:
        return None
    sentence = sentence_of(calendar, record, system, jobs)
    words = _words(calendar, record)
    label = _("Calendar of the season. %(sentence)s") % {"sentence": sentence}
    drawn = [chart_svg(spec(calendar, words, shape), label=label) for shape in (WIDE, NARROW)]
    shown = calendar.frames
    cautions = [frame.caution for frame in shown]
    return CalendarPicture(
        wide=drawn[0],
        narrow=drawn[1],
        sentence=sentence,
        frames=tuple(shown),
        jobs=jobs,
        word=shown_word(max((one.signal_word for one in cautions), key=SIGNAL_WORDS.index)) if shown else "",
        dangers=tuple(dict.fromkeys(danger for one in cautions for danger in one.in_short)),
        rows=tuple(_rows(calendar, record, system)),
        meanwhile=tuple(_meanwhile(calendar, record)),
        more=calendar.more,
    )


def strips_picture(record: Record, *, system: str) -> tuple[SafeString, str] | None:
    """The crops of each press this season in small, without jobs, and the sentence about them; None for a
    mill without presses in service."""
    calendar = season_calendar(record, ())
    if not calendar.presses:
        return None
    sentence = sentence_of(calendar, record, system, 0)
    label = _("Calendar of the season. %(sentence)s") % {"sentence": sentence}
    return chart_svg(spec(calendar, _words(calendar, record), STRIPS), label=label), sentence


def _words(calendar: Calendar, record: Record) -> CalendarWords:
    return CalendarWords(
        ticks=ticks(record, calendar.left, calendar.right),
        today=_("today"),
        idle=_("mill stands"),
        stands=_("stands"),
        stood=_("stood"),
        jobs={
            (frame.press_id, number): job_words(frame.demand(job))
            for frame in calendar.frames
            for number, job in enumerate(frame.jobs)
        },
        work={action: noun_of(action) for action in SHOWN_WORK},
    )


def job_words(job: DueItem) -> tuple[str, ...]:
    """`Due: flip die`, `flip die`, `Flip`."""
    work = work_word(job.action)
    whole = worded(work, kind_words(job.kind)) if job.kind else work
    return f"{state_word(job.state)}: {whole}", whole, action_word(job.action)


def sentence_of(calendar: Calendar, record: Record, system: str, jobs: int) -> str:
    """`80.9 t pressed since 1 September, 129 t planned until 14 May; 12 jobs fall due until then.`"""
    pressed = [one for year in calendar.presses for one in year.campaigns if one.pressed]
    planned = [one for year in calendar.presses for one in year.campaigns if not one.pressed]
    if not pressed and not planned:
        said = _("Nothing yet: runs and a plan give bars.")
    else:
        values = {
            "pressed": units.show_mass(sum(one.seed_kg for one in pressed), system),
            "planned": units.show_mass(sum(one.seed_kg for one in planned), system),
            "since": _day(record, min((one.start for one in pressed), default=calendar.today)),
            "until": _day(record, max((one.end for one in planned), default=calendar.today) - 1),
        }
        if not planned:
            said = _("%(pressed)s pressed since %(since)s; nothing is planned.") % values
        elif not pressed:
            said = _("Nothing pressed yet this season; %(planned)s planned until %(until)s.") % values
        else:
            said = _("%(pressed)s pressed since %(since)s, %(planned)s planned until %(until)s.") % values
    if not jobs:
        return said
    due = ngettext("%(n)s job falls due until %(day)s.", "%(n)s jobs fall due until %(day)s.", jobs) % {
        "n": jobs,
        "day": _on(ends_on(record)),
    }
    return f"{said} {due}"


def _day(record: Record, instant: float) -> str:
    return _on(record.day_of(instant))


def _on(day: date) -> str:
    return written(day, "j M Y")


def _rows(calendar: Calendar, record: Record, system: str) -> list[tuple[str, str, str, str, bool]]:
    return [
        (
            year.name,
            one.crop,
            _days(record, one.start, one.end),
            units.show_mass(one.seed_kg, system),
            one.pressed,
        )
        for year in calendar.presses
        for one in year.campaigns
    ]


def _meanwhile(calendar: Calendar, record: Record) -> Iterator[tuple[str, str, str]]:
    for year in calendar.presses:
        found = [(row.done, _day(record, row.done), _work_done(record, row)) for row in year.work]
        for start, end in year.stood:
            first, after = record.day_of(start) + timedelta(days=1), record.day_of(end)
            whole_days = _days(record, record.start_of(first), record.start_of(after))
            found.append((start, whole_days, _("stood: nothing pressed")))
        if year.stands_since is not None:
            since = _("since %(day)s") % {"day": _day(record, year.stands_since)}
            found.append((year.stands_since, since, _("stands: locked for work")))
        for _at, days, words in sorted(found):
            yield year.name, days, words


def _work_done(record: Record, row: ServiceRow) -> str:
    """`polish: screw S-04`."""
    work = noun_of(row.action)
    if row.part_id is None:
        return work
    part = record.parts[row.part_id]
    return f"{work}: {part_words(record.types[part.type_id].kind, part.code, row.edge)}"


def _days(record: Record, start: float, end: float) -> str:
    return _("%(start)s to %(end)s") % {"start": _day(record, start), "end": _day(record, end - 1)}

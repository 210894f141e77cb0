"""What a mill's log calls for, worked out as simply as it can be said. Knows nothing of Wearlog.

Sources: common practice, no source, for the intervals; the stages as docs/reminders.md promises them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

DAY = timedelta(days=1)
WEEK_AFTER_DUE = 7
"""Days after the due day from which on something is overdue."""

WEEKS_TOLD = 4


@dataclass
class Rule:
    code: str
    every_days: int | None = None
    every_h: float | None = None
    after: str = ""
    """An incident's kind."""
    lead_days: int = 0


@dataclass
class Work:
    ref: str
    press: str
    rule: str
    done_at: datetime


@dataclass
class Incident:
    ref: str
    press: str
    kind: str
    happened_at: datetime


@dataclass
class Run:
    ref: str
    press: str
    started_at: datetime
    ended_at: datetime


@dataclass
class Person:
    """`zone` None: the mill's. `quiet`: from and until, over midnight where the end is earlier."""

    name: str
    address: str
    zone: ZoneInfo | None
    rhythm: str = "single"
    from_time: time = time(6)
    quiet: tuple[time, time] | None = (time(20), time(6))
    weekdays: str = "1234567"
    urgent_any_time: bool = True
    most_at_once: int = 5
    works_here: bool = True
    gets_mail: bool = True
    address_works: bool = True

    @property
    def can_be_told(self) -> bool:
        return self.works_here and self.gets_mail and self.address_works

    def may_get_mail(self, at: datetime, mill_zone: ZoneInfo) -> bool:
        """Whether a mail may leave for them at that instant."""
        local = at.astimezone(self.zone or mill_zone)
        now = local.time()
        if str(local.isoweekday()) not in self.weekdays or now < self.from_time:
            return False
        if self.quiet is None:
            return True
        begins, ends = self.quiet
        quiet = begins <= now < ends if begins <= ends else (now >= begins or now < ends)
        return not quiet

    def list_instants(self, after: datetime, until: datetime, mill_zone: ZoneInfo) -> Iterator[datetime]:
        """When their lists leave, in (after, until]."""
        zone = self.zone or mill_zone
        days = self.weekdays if self.rhythm == "daily" else self.weekdays[0]
        day = after.astimezone(zone).date() - DAY
        while day <= until.astimezone(zone).date() + DAY:
            instant = datetime.combine(day, self.from_time, tzinfo=zone).astimezone(ZoneInfo("UTC"))
            if str(day.isoweekday()) in days and after < instant <= until:
                yield instant
            day += DAY


@dataclass(frozen=True)
class Call:
    """One thing to say today. `cycle` names the work and, where one tripped it, the incident that it counts
    from; `telling` the stage, with the week of being overdue."""

    rule: str
    press: str
    cycle: str
    stage: str
    telling: str
    urgent: bool


@dataclass
class Log:
    """Everything that was written down and stands."""

    zone: ZoneInfo
    presses: list[str] = field(default_factory=list)
    rules: dict[str, Rule] = field(default_factory=dict)
    works: list[Work] = field(default_factory=list)
    incidents: list[Incident] = field(default_factory=list)
    runs: list[Run] = field(default_factory=list)
    people: dict[str, Person] = field(default_factory=dict)

    def today(self, at: datetime) -> date:
        return at.astimezone(self.zone).date()

    def last_work(self, press: str, rule: str) -> Work:
        done = [work for work in self.works if work.press == press and work.rule == rule]
        return max(done, key=lambda work: work.done_at)

    def due(self, press: str, rule: Rule) -> tuple[date | None, str]:
        """The day on which the work is due, None while none can be named, and what counting began at."""
        last = self.last_work(press, rule.code)
        if rule.every_days is not None:
            return self.today(last.done_at) + rule.every_days * DAY, last.ref
        if rule.every_h is not None:
            hours = 0.0
            for run in sorted(self.runs, key=lambda run: run.started_at):
                if run.press == press and run.started_at >= last.done_at:
                    hours += (run.ended_at - run.started_at) / timedelta(hours=1)
                    if hours >= rule.every_h:
                        return self.today(run.started_at), last.ref
            return None, last.ref
        hits = [
            incident
            for incident in self.incidents
            if incident.press == press and incident.kind == rule.after and incident.happened_at > last.done_at
        ]
        if not hits:
            return None, last.ref
        first = min(hits, key=lambda incident: incident.happened_at)
        return self.today(first.happened_at), f"{last.ref} {first.ref}"

    def calls(self, at: datetime) -> Iterator[Call]:
        """What is to be said now, to whoever can be told."""
        for press in self.presses:
            for rule in self.rules.values():
                if call := self.call(press, rule, at):
                    yield call

    def call(self, press: str, rule: Rule, at: datetime) -> Call | None:
        due, cycle = self.due(press, rule)
        if due is None:
            return None
        left = (due - self.today(at)).days
        if left > 0:
            stage = "Coming up" if rule.every_days is not None and left <= rule.lead_days else ""
        else:
            stage = "Overdue" if -left > WEEK_AFTER_DUE else "Due"
        if not stage:
            return None
        week = (-left - WEEK_AFTER_DUE - 1) // 7 + 1 if stage == "Overdue" else 0
        telling = f"{stage} {min(week, WEEKS_TOLD)}"
        return Call(rule.code, press, cycle, stage, telling, rule.after == "metal" and stage == "Due")

    def may_be_coming(self, press: str, rule: str) -> bool:
        """Whether a forecast, which is not worked out here, may say that it is coming up."""
        known = self.rules[rule]
        return known.every_h is not None and self.due(press, known)[0] is None

"""Time passes at a mill, its people work, everything that can break breaks, and mails are held against it."""

from __future__ import annotations

import heapq
import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Min

from tests.mills.soak_mill import TwoBooks
from tests.soak.dying import die_at
from tests.soak.post import Post
from tests.soak.verdict import Verdict
from wearlog.reminders.models import OutboxRow, OutboxState
from wearlog.reminders.outbox.actions import scan, send_due, send_one
from wearlog.reminders.outbox.queries import sendable_ids
from wearlog.reminders.schedule import clock

MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
DIES = 0.08
"""How likely a round is to be its process's last, where it comes that far."""

DOUBLES = 0.05
"""How likely every message of a round is to be delivered twice."""

WAKES_NOBODY = 0.02
"""How likely the queue is to be emptied before anybody has heard of a round."""


@dataclass(order=True)
class Event:
    at: datetime
    number: int
    what: Callable[[], None] = field(compare=False)


class Simulation:
    """`at` is the true time. The site's clock may be wrong by `wrong_by`."""

    def __init__(self, *, seed: int, presses: int, days: int, begin: datetime, post: Post) -> None:
        self.dice = random.Random(seed)
        self.begin, self.end = begin, begin + days * DAY
        self.at = self.looked_at = begin
        self.phase = timedelta(seconds=self.dice.randint(1, 59))
        self.post = post
        self.mill = TwoBooks(self.dice, presses=presses, at=begin, zone="Europe/Vienna")
        self.verdict = Verdict(self.mill.log)
        self.agenda: list[Event] = []
        self.planned: set[datetime] = set()
        self.running, self.reachable = True, True
        self.wrong_by = timedelta(0)
        self.died_ahead, self.asks = False, False
        self.watch = clock.Watch()
        self.counts: Counter[str] = Counter()

    # -------- time

    @property
    def wall(self) -> datetime:
        return self.at + self.wrong_by

    def plan(self, at: datetime, what: Callable[[], None]) -> None:
        heapq.heappush(self.agenda, Event(at, len(self.agenda) + self.dice.randint(0, 10**9), what))

    def plan_round(self, at: datetime) -> None:
        """The schedule's next round at or after that instant."""
        minute = at.replace(second=0, microsecond=0) + self.phase
        if minute < at:
            minute += MINUTE
        if minute not in self.planned:
            self.planned.add(minute)
            self.plan(minute, self.round)

    def run(self, *, to_first_wrong: bool = False) -> None:
        for day in range((self.end - self.begin).days):
            self.plan(self.begin + day * DAY, self.day)
        while self.agenda:
            event = heapq.heappop(self.agenda)
            if event.at > self.end:
                break
            self.at = event.at
            event.what()
            if to_first_wrong and self.verdict.wrong:
                return
        self.look()
        self.verdict.end(self.at)

    def day(self) -> None:
        """Plan one day of the world: people's hours, what they log, and what breaks."""
        self.plan_hours()
        begin, dice = self.at, self.dice
        for _ in range(3):
            self.plan_round(begin + dice.random() * DAY)
        for press in self.mill.log.presses:
            if dice.random() < 0.12:
                self.plan(
                    begin + 14 * HOUR + dice.random() * HOUR, lambda press=press: self.log_run(press, begin)
                )
        for _ in range(dice.randint(0, 4)):
            self.plan(begin + dice.choice([5, 15, 16, 17, 18]) * HOUR + dice.random() * HOUR, self.work)
        self.maybe(0.08, begin, self.incident)
        self.maybe(0.15, begin, self.correct)
        self.maybe(0.10, begin, self.change)
        self.maybe(0.03, begin, self.go_away)
        self.maybe(0.015, begin, self.mail_goes_away)
        self.maybe(0.03, begin, self.clock_jumps)
        self.maybe(0.03, begin, self.clock_is_corrected)

    def maybe(self, share: float, day: datetime, deed: Callable[[], None]) -> None:
        if self.dice.random() < share:
            self.plan(
                day + self.dice.choice([6, 15, 16, 17, 19, 22]) * HOUR + self.dice.random() * HOUR, deed
            )

    def plan_hours(self) -> None:
        """A round wherever somebody's hours or a day begin or end, by the site's clock."""
        mill_zone = self.mill.log.zone
        for person in self.mill.log.people.values():
            self.plan_rounds({person.from_time, *(person.quiet or ())}, person.zone or mill_zone)
        self.plan_rounds({time()}, mill_zone)

    def plan_rounds(self, times: set[time], zone: ZoneInfo) -> None:
        for days in (-1, 0, 1):
            local = self.at.astimezone(zone).date() + days * DAY
            for one in sorted(times):
                self.plan_round_soon(datetime.combine(local, one, tzinfo=zone))

    def plan_round_soon(self, local: datetime) -> None:
        for fold in (0, 1):
            instant = local.replace(fold=fold).astimezone(UTC) - self.wrong_by
            if self.at <= instant < self.at + DAY + HOUR:
                self.plan_round(instant)

    # -------- the site

    def look(self) -> None:
        able = self.running and self.reachable and not self.asks and abs(self.wrong_by) < DAY
        self.verdict.look(
            self.wall if abs(self.wrong_by) < DAY else self.at, self.at - self.looked_at, running=able
        )
        self.looked_at = self.at

    def round(self) -> None:
        """What the schedule does once a minute."""
        self.look()
        if not self.running:
            return
        self.counts["rounds"] += 1
        dice = self.dice
        if dice.random() < WAKES_NOBODY:
            self.counts["lost wake-ups"] += 1
            self.plan_round(self.at + dice.randint(1, 3) * MINUTE)
        elif dice.random() < DIES:
            self.die()
        else:
            self.scan_and_send()
        self.receive()
        self.plan_round_for_waiting()

    def scan_and_send(self) -> None:
        if clock.check_clock(watch=self.watch, at=self.wall, steady_s=self.at.timestamp()) is not None:
            self.counts["paused rounds"] += 1
            return
        scan(at=self.wall)
        if self.dice.random() < DOUBLES:
            self.counts["double deliveries"] += 1
            for row_id in sendable_ids(at=self.wall, limit=500):
                send_one(row_id=row_id, at=self.wall)
                send_one(row_id=row_id, at=self.wall)
        send_due(at=self.wall, limit=500)

    def die(self) -> None:
        """The process dies in mid-round and is started again for the next one."""
        claimed, after = self.dice.random() < 0.6, self.dice.random() < 0.5
        statement = self.dice.randint(1, 12 if claimed else self.dice.choice([5, 20, 60]))
        if die_at(statement, after=after, claimed=claimed, deed=self.scan_and_send):
            self.verdict.crashes += 1
            self.counts["crashes"] += 1
            when = "of sending" if claimed else "of its round"
            self.verdict.story.tell(self.at, f"the site died at statement {statement} {when}")
            self.watch = clock.Watch()
            self.died_ahead = self.died_ahead or DAY <= self.wrong_by <= clock.LONGEST_OUTAGE
            self.plan_round(self.at + MINUTE)

    def receive(self) -> None:
        self.verdict.lost_answers = self.post.lost_answers
        self.verdict.arrived(self.post.fetch(), self.wall)
        for address in self.post.refused:
            for person in self.mill.log.people.values():
                if person.address == address and person.address_works:
                    person.address_works = False
                    self.counts["addresses stopped"] += 1
                    self.verdict.story.tell(self.at, f"{address} was refused for good")
                    later = self.at + self.dice.randint(2, 50) * HOUR
                    self.plan(later, lambda name=person.name: self.mend_address(name))
        if self.post.refused:
            self.look()  # from here on nothing can be told there
        self.post.refused.clear()

    def plan_round_for_waiting(self) -> None:
        """The next round at which something that waits may leave; rounds between would find nothing."""
        waiting = OutboxRow.objects.filter(state__in=(OutboxState.PENDING, OutboxState.LEASED))
        for name in ("next_attempt_at", "leased_until"):
            later = waiting.filter(**{f"{name}__gt": self.wall}).aggregate(first=Min(name))["first"]
            if later is not None and later - self.wall < 2 * HOUR:
                self.plan_round(later - self.wrong_by)
        if waiting.filter(state=OutboxState.PENDING, next_attempt_at__lte=self.wall).exists():
            self.plan_round(self.at + MINUTE)

    # -------- what people do

    def deed(self, word: str, said: str) -> None:
        self.counts[word] += 1
        self.verdict.story.tell(self.wall, f"{word}: {said}")
        self.look()
        self.plan_round(self.at + timedelta(seconds=1))

    def can_log(self) -> bool:
        return self.running and abs(self.wrong_by) < DAY

    def log_run(self, press: str, day: datetime) -> None:
        if self.can_log():
            begun = day + 9 * HOUR
            self.mill.run(press, begun, begun + self.dice.randint(2, 4) * HOUR, self.wall)
            self.deed("runs", press)

    def work(self) -> None:
        if self.can_log():
            calls = [(call.press, call.rule) for call in self.mill.log.calls(self.wall)]
            press, rule = self.dice.choice(calls) if calls else ("P000", "grease")
            self.mill.work(press, rule, self.wall)
            self.deed("works", f"{press} {rule}")

    def incident(self) -> None:
        if self.can_log():
            press, kind = self.dice.choice(self.mill.log.presses), self.dice.choice(["metal", "noise"])
            self.mill.incident(press, kind, self.wall)
            self.deed("incidents", f"{press} {kind}")

    def correct(self) -> None:
        if self.can_log():
            deed = self.dice.choice([self.mill.strike_out, self.mill.move_work])
            self.deed("corrections", f"{deed.__name__} {deed(self.wall)}")

    def change(self) -> None:
        if not self.can_log():
            return
        kind = self.dice.choice(["rule", "zone", "address", "mail", "wish", "wish"])
        name = self.dice.choice(list(self.mill.log.people))
        if kind == "rule":
            said = self.mill.change_rule(self.wall)
        elif kind == "zone":
            said = self.mill.change_zone(self.wall)
        elif kind == "address":
            said = self.mill.change_address(name, self.wall)
        elif kind == "mail":
            said = self.mill.switch_mail(name, self.wall)
            if not self.mill.log.people[name].gets_mail:
                self.plan(self.at + 30 * HOUR, lambda: self.mail_on(name))
        else:
            said = self.change_wish(name)
        if kind in ("zone", "wish", "mail", "address"):
            for each in self.mill.log.people if kind == "zone" else [name]:
                self.verdict.wishes_changed(each, self.wall)
            self.plan_hours()
        self.deed("changes", f"{kind} {said}")

    def mail_on(self, name: str) -> None:
        if self.can_log() and not self.mill.log.people[name].gets_mail:
            self.deed("changes", self.mill.switch_mail(name, self.wall))
        elif not self.can_log():
            self.plan(self.at + HOUR, lambda: self.mail_on(name))

    def change_wish(self, name: str) -> str:
        person, dice = self.mill.log.people[name], self.dice
        person.rhythm = dice.choice(["single", "single", "daily", "weekly"])
        person.from_time = dice.choice([time(5), time(6), time(2, 30), time(9, 15)])
        person.quiet = dice.choice([None, (time(20), time(2, 30)), (time(12), time(13))])
        person.weekdays = dice.choice(["1234567", "12345", "15"])
        person.urgent_any_time = dice.random() < 0.7
        person.most_at_once = dice.choice([1, 5, 100])
        self.mill.keep_wish(name)
        return f"{name} {person.rhythm} from {person.from_time} on {person.weekdays}, quiet {person.quiet}"

    def mend_address(self, name: str) -> None:
        if self.can_log():
            said = self.mill.change_address(name, self.wall)
            self.verdict.wishes_changed(name, self.wall)
            self.deed("changes", f"address {said}")
        else:
            self.plan(self.at + HOUR, lambda: self.mend_address(name))

    # -------- what breaks

    def go_away(self) -> None:
        """The machine is switched off for hours or days."""
        if self.running and not self.wrong_by:
            self.look()
            self.running = False
            self.counts["outages"] += 1
            self.verdict.story.tell(self.at, "the site is switched off")
            self.look()
            self.plan(self.at + self.dice.choice([2, 20, 30, 80, 240]) * HOUR, self.come_back)

    def come_back(self) -> None:
        self.look()
        self.running, self.watch = True, clock.Watch()
        self.verdict.story.tell(self.at, "the site is on again")
        self.look()
        self.plan_hours()
        self.plan_round(self.at)

    def mail_goes_away(self) -> None:
        self.look()
        self.reachable = False
        settings.EMAIL_PORT = 1  # nothing listens there
        self.counts["mail server away"] += 1
        self.verdict.story.tell(self.at, "the mail server of the site is away")
        self.look()
        self.plan(self.at + self.dice.choice([1, 3, 26]) * HOUR, self.mail_comes_back)

    def mail_comes_back(self) -> None:
        self.look()
        self.reachable = True
        settings.EMAIL_PORT = self.post.port
        self.verdict.story.tell(self.at, "the mail server of the site is back")
        self.look()
        self.plan_round(self.at)

    def clock_jumps(self) -> None:
        """A day and more back, or a year ahead: the site must not send, and not storm afterwards."""
        if self.running and not self.wrong_by:
            self.look()
            self.wrong_by = self.dice.choice([-26 * HOUR, -2 * DAY, 400 * DAY, 26 * HOUR])
            self.counts["clock jumps"] += 1
            self.verdict.story.tell(self.at, f"the site's clock is wrong by {self.wrong_by}")
            self.look()
            self.plan_round(self.at)
            self.plan(self.at + self.dice.randint(1, 5) * HOUR, self.clock_is_right)

    def clock_is_corrected(self) -> None:
        """By less than an hour, as a time service does."""
        if self.running and not self.wrong_by:
            self.look()
            self.wrong_by = self.dice.choice([-40, -10, 15, 45]) * MINUTE
            self.counts["clock corrections"] += 1
            self.verdict.story.tell(self.at, f"the site's clock is wrong by {self.wrong_by}")
            self.look()
            self.plan_hours()
            self.plan_round(self.at)
            self.plan(self.at + 3 * HOUR, self.clock_is_right)

    def clock_is_right(self) -> None:
        """Where the site was started by a clock that ran a day ahead, it must take the right one for a wrong
        one: it pauses and asks, and an owner answers within the hour."""
        self.look()
        self.wrong_by = timedelta(0)
        self.verdict.story.tell(self.at, "the site's clock is right again")
        if self.died_ahead:
            self.asks, self.died_ahead = True, False
            self.plan(self.at + self.dice.randint(10, 60) * MINUTE, self.owner_answers)
        self.look()
        self.plan_hours()
        self.plan_round(self.at)

    def owner_answers(self) -> None:
        if self.running:
            self.look()
            self.asks = False
            clock.resume(by=self.mill.owner, at=self.wall)
            self.counts["owner's words"] += 1
            self.verdict.story.tell(self.at, "an owner of the site says that its clock is right")
            self.look()
            self.plan_hours()
            self.plan_round(self.at)
        else:
            self.plan(self.at + HOUR, self.owner_answers)

"""Holds the mails that came against what the log called for: missed, late, doubled, untrue."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from email.message import EmailMessage

from tests.soak.plain import Call, Log, Person

MISSED_AFTER = timedelta(hours=2, minutes=30)
"""A message that could have left for so long and did not is missed. Answers of a mail server that says
"later" five times, or a row set aside for an hour, are still in time."""

IN_TIME = timedelta(minutes=5)
TASK = re.compile(r">\s*(Coming up|Order the part|Due|Overdue): \w+ (P\d+) \((\w+)\)\s*<")

Key = tuple[str, Call]
"""A person's name and what they are to be told."""


@dataclass
class Wait:
    """How long a message has been possible. `since` is when it was first called for, and counts anew where
    the person's wishes change; `open` how long it could have left and had not."""

    since: datetime
    open: timedelta = timedelta(0)
    was_open: bool = False


@dataclass
class Story:
    """What happened, to tell of what went wrong."""

    lines: list[str] = field(default_factory=list)

    def tell(self, at: datetime, what: str) -> None:
        self.lines.append(f"{at:%Y-%m-%d %H:%M:%S} {what}")

    def about(self, *words: str, last: int = 15) -> str:
        found = [line for line in self.lines if any(word in line for word in words)]
        return "\n".join(found[-last:])


@dataclass
class Verdict:
    log: Log
    story: Story = field(default_factory=Story)
    waits: dict[Key, Wait] = field(default_factory=dict)
    told: set[Key] = field(default_factory=set)
    singles: dict[Key, set[str]] = field(default_factory=lambda: defaultdict(set))
    late: list[timedelta] = field(default_factory=list)
    ids: Counter[str] = field(default_factory=Counter)
    crashes: int = 0
    lost_answers: int = 0
    wrong: list[str] = field(default_factory=list)
    missed: int = 0

    def look(self, at: datetime, elapsed: timedelta, *, running: bool) -> None:
        """Take note of what is called for at this moment; `elapsed` is the true time since the last look,
        `running` whether the site could send."""
        now = {(name, call) for call in self.log.calls(at) for name in self._who_can_be_told()}
        for key in list(self.waits):
            wait = self.waits[key]
            if wait.was_open:
                wait.open += elapsed
                if wait.open > MISSED_AFTER:
                    self._missed(key, wait, at)
                    continue
            if key not in now:
                del self.waits[key]
        for key in now - self.told - self.waits.keys():
            self.waits[key] = Wait(since=at)
        for (name, call), wait in self.waits.items():
            wait.was_open = running and self._may_leave(self.log.people[name], call, wait, at)

    def _who_can_be_told(self) -> list[str]:
        return [person.name for person in self.log.people.values() if person.can_be_told]

    def _may_leave(self, person: Person, call: Call, wait: Wait, at: datetime) -> bool:
        if call.urgent and person.urgent_any_time:
            return True
        if not person.may_get_mail(at, self.log.zone):
            return False
        if person.rhythm == "single" or call.urgent:
            return True
        return any(True for _ in person.list_instants(wait.since, at, self.log.zone))

    def wishes_changed(self, name: str, at: datetime) -> None:
        """Only what lies ahead changes: a list that has left for today leaves tomorrow."""
        for (who, _call), wait in self.waits.items():
            if who == name:
                wait.since, wait.was_open = at, False

    def arrived(self, mails: Iterable[EmailMessage], at: datetime) -> None:
        for mail in mails:
            self._arrived(mail, at)

    def _arrived(self, mail: EmailMessage, at: datetime) -> None:
        message_id, address = str(mail["Message-ID"]), str(mail["To"])
        body = mail.get_body(("html",))
        assert body is not None
        tasks = set(TASK.findall(body.get_content()))
        people = [person for person in self.log.people.values() if person.address == address]
        said = "; ".join(" ".join(task) for task in sorted(tasks))
        self.story.tell(at, f"mail {message_id[1:9]} to {address}: {said}")
        self.ids[message_id] += 1
        if not tasks:
            return  # a notice that an address was stopped
        is_list = len(tasks) > 1 or "list" in str(mail["Subject"]).casefold()
        if not people:
            self._complain(at, f"mail to {address}, which is nobody's", address)
            return
        calls = {(call.stage, call.press, call.rule): call for call in self.log.calls(at)}
        for task in sorted(tasks):
            stage, press, rule = task
            if task not in calls:
                if stage not in ("Coming up", "Order the part") or not self.log.may_be_coming(press, rule):
                    self._complain(at, f"{stage} {press} {rule} told to {address} is not true", press, rule)
                continue
            self._told((people[0].name, calls[task]), message_id, at, is_list=is_list)

    def _told(self, key: Key, message_id: str, at: datetime, *, is_list: bool) -> None:
        name, call = key
        person = self.log.people[name]
        if not is_list:
            self.singles[key].add(message_id)
            if len(self.singles[key]) > 1:
                self._complain(at, f"{call} told to {name} in two mails", call.press)
            urgent = call.urgent and person.urgent_any_time
            if not urgent and not person.may_get_mail(at, self.log.zone):
                self._complain(at, f"{call} told to {name} at a bad hour", name)
        elif call.urgent:
            return  # a list says it too; the mail of its own must come all the same
        if key in self.told:
            return
        self.told.add(key)
        wait = self.waits.pop(key, None)
        self.late.append(wait.open if wait is not None else timedelta(0))
        if wait is not None and wait.open > IN_TIME:
            self.story.tell(at, f"{call.press} {call.rule} {call.telling} to {name} was {wait.open} late")

    def _missed(self, key: Key, wait: Wait, at: datetime) -> None:
        name, call = key
        self.missed += 1
        self._complain(
            at,
            f"MISSED: {call} for {name}, called for since {wait.since}, could have left for {wait.open}",
            f"{call.press} {call.rule}",
            self.log.people[name].address,
        )
        self.told.add(key)
        del self.waits[key]

    def _complain(self, at: datetime, what: str, *words: str) -> None:
        self.story.tell(at, what)
        self.wrong.append(f"{at:%Y-%m-%d %H:%M:%S} {what}\n{self.story.about(*words, 'site')}")

    @property
    def copies(self) -> int:
        return sum(count - 1 for count in self.ids.values())

    @property
    def in_time(self) -> float:
        """The share of messages that left within five minutes of when they could."""
        return sum(one <= IN_TIME for one in self.late) / max(1, len(self.late))

    def end(self, at: datetime) -> None:
        if self.copies > self.crashes + self.lost_answers:
            self._complain(
                at, f"{self.copies} copies of {self.crashes} crashes and {self.lost_answers} lost answers"
            )
        if self.in_time < 0.95:
            self._complain(at, f"only {self.in_time:.1%} within five minutes")

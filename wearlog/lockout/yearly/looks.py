"""Yearly inspections of lockout procedures and instructions of people: adding their rules, and recording who
inspected what and who was instructed.

29 CFR 1910.147(c)(6) asks for an inspection of each procedure at least once a year, by somebody who does not
use it, kept with the machine, the day, the people and who looked; 1928.57(a)(6) for the instruction of each
person at assignment and once a year. Own words; elsewhere the same is good practice under other names.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.equipment.models import Press
from wearlog.lockout.models import Yearly, YearlyLook
from wearlog.people import audit
from wearlog.people.models import Role, User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.service.actions import log_work
from wearlog.service.entries import NewWork
from wearlog.service.models import Action, Rule, Service

EVERY_DAYS = Decimal(365)
LEAD_DAYS = Decimal(30)


@dataclass(frozen=True)
class Missing:
    """The yearly rules that do not exist yet."""

    procedure: bool
    people: list[User]

    def __bool__(self) -> bool:
        return self.procedure or bool(self.people)


def missing() -> Missing:
    """Whether the rule for the procedures is missing, and for which people who log the one for instruction
    is."""
    has = set(YearlyLook.objects.filter(kind=Yearly.INSTRUCTION).values_list("person_id", flat=True))
    people = User.objects.filter(is_active=True).exclude(role=Role.VIEWER).order_by("name", "username")
    return Missing(
        procedure=not YearlyLook.objects.filter(kind=Yearly.PROCEDURE).exists(),
        people=[person for person in people if person.pk not in has],
    )


@transaction.atomic
def make_rules(*, by: User | None, at: datetime) -> list[Rule]:
    """Add the rules that are missing: one for the procedure of every press, one for each person who logs. A
    rule that is there stays as it is. Each has one item for every press."""
    require(by, Permission.MAINTAIN)
    list(User.objects.select_for_update().order_by("pk"))
    lacking = missing()
    made = []
    if lacking.procedure:
        made.append(
            _rule(
                by,
                at,
                code=_("Yearly look at the lockout procedure"),
                kind=Yearly.PROCEDURE,
                instructions=_(
                    "Somebody who does not use the procedure watches it being used and goes through it with "
                    "everybody who does. Record the press, the day, the people and who looked. Mend what "
                    "was found."
                ),
            )
        )
    for person in lacking.people:
        code = _("Yearly instruction: %(who)s") % {"who": person}
        if Rule.objects.filter(code=code, yearly_look__isnull=False).exists():
            code = _("Yearly instruction: %(who)s") % {"who": f"{person} ({person.username})"}
        made.append(
            _rule(
                by,
                at,
                code=code,
                kind=Yearly.INSTRUCTION,
                person=person,
                instructions=_(
                    "Guards stay on. Stop, disconnect and wait before reaching in. Everybody clear before a "
                    "start. Lock out the power for work. Go through it at the press; also before first work."
                ),
            )
        )
    return made


def _rule(
    by: User | None, at: datetime, *, code: str, kind: Yearly, instructions: str, person: User | None = None
) -> Rule:
    """Add the rule and mark it as yearly. An existing rule of that code, which came with an import, is used
    instead."""
    found = Rule.objects.filter(code=code, yearly_look__isnull=True).first()
    if found is not None:
        YearlyLook.objects.create(rule=found, kind=kind, person=person)
        audit.write(at=at, by=by, action="mark", record=found, new=audit.snapshot(found))
        return found
    rule = Rule.objects.create(
        code=code,
        action=Action.INSPECT,
        every_days=EVERY_DAYS,
        lead_days=LEAD_DAYS,
        instructions=instructions,
    )
    YearlyLook.objects.create(rule=rule, kind=kind, person=person)
    audit.write(at=at, by=by, action="add", record=rule, new=audit.snapshot(rule))
    return rule


@transaction.atomic
def record_look(
    *,
    by: User | None,
    at: datetime,
    kind: str,
    press_ids: Sequence[int],
    done_at: datetime,
    looked_by: str,
    people: Sequence[User],
    others: str = "",
    finding: str = "",
) -> list[Service]:
    """Record that the procedures of these presses were inspected with these people, or that these people were
    instructed at these presses: one line of the log for each press, and for each person.

    `looked_by` inspected or instructed; `others` are people without an account, by name, with whom a
    procedure was reviewed. This is no work inside a press, so other people's locks, which the inspection is
    about, do not block it. Raises Refused where the inspector is among the people who use the procedure.
    """
    require(by, Permission.MAINTAIN)
    looked_by, others = looked_by.strip(), others.strip()
    if not looked_by:
        raise Refused(_("Write who looked, or who instructed."), field="looked_by")
    if not people and not others:
        raise Refused(_("Tick the people, or write their names."), field="people")
    if not press_ids:
        raise Refused(_("Tick the presses."), field="presses")
    if any(str(person).casefold() == looked_by.casefold() for person in people):
        raise Refused(
            _("%(who)s can't look at their own use of it, or instruct themself. Name somebody else.")
            % {"who": looked_by},
            field="looked_by",
        )
    rules = _rules_for(kind, people)
    names = ", ".join([*(str(person) for person in people), *([others] if others else [])])
    told = {
        Yearly.PROCEDURE: _("Lockout procedure looked at by %(who)s, with %(people)s."),
        Yearly.INSTRUCTION: _("Instructed by %(who)s: %(people)s."),
    }[Yearly(kind)]
    done = []
    for press in Press.objects.filter(pk__in=press_ids).order_by("code"):
        for rule, whom in rules:
            words = told % {"who": looked_by, "people": whom or names}
            entry = NewWork(
                press_id=press.pk,
                action=Action.INSPECT.value,
                done_at=done_at,
                rule_id=rule.pk,
                finding=f"{words} {finding.strip()}".strip(),
                done_by=looked_by,
            )
            done.append(log_work(by=by, at=at, entry=entry))
    return done


def _rules_for(kind: str, people: Sequence[User]) -> list[tuple[Rule, str]]:
    """The rules that the record fulfils, each with the names of its people (empty: all of them)."""
    looks = YearlyLook.objects.select_related("rule", "person").filter(kind=kind)
    if kind == Yearly.PROCEDURE:
        found = [(look.rule, "") for look in looks]
    else:
        found = [(look.rule, str(look.person)) for look in looks.filter(person__in=people)]
    lacking = [str(person) for person in people if kind == Yearly.INSTRUCTION and not _has(found, person)]
    if not found or lacking:
        raise Refused(
            _("No rule asks for it yet%(people)s. Make the yearly rules first, with one touch.")
            % {"people": f" ({', '.join(lacking)})" if lacking else ""}
        )
    return found


def _has(found: Sequence[tuple[Rule, str]], person: User) -> bool:
    return any(whom == str(person) for _rule_, whom in found)


@dataclass(frozen=True)
class LastLook:
    """When a press's procedure was last inspected, or a person last instructed there; None: no record."""

    look: YearlyLook
    press: Press
    service: Service | None


def last_looks() -> list[LastLook]:
    """The last record for each yearly rule and press in service; three queries."""
    looks = list(YearlyLook.objects.select_related("rule", "person").order_by("-kind", "rule__code"))
    last: dict[tuple[int | None, int], Service] = {}
    rows = Service.objects.not_voided().filter(rule__yearly_look__isnull=False).order_by("done_at", "pk")
    for service in rows:
        last[service.rule_id, service.press_id] = service
    presses = list(Press.objects.filter(retired_on__isnull=True).order_by("code"))
    return [
        LastLook(look, press, last.get((look.rule_id, press.pk)))
        for look in looks
        for press in presses
        if look.rule.press_id in (None, press.pk)
    ]

"""The content of job cards besides the task itself: what to bring, spares, and the QR code of the job."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.equipment.models import Part, Press
from wearlog.equipment.queries import spares
from wearlog.forecasts.items import DueItem
from wearlog.lockout.cautions.steps import before_work, for_a_test
from wearlog.lockout.cautions.text import paragraphs_of
from wearlog.service.models import Action
from wearlog.web.printing.sheets import Content, Sheet, sheets_of
from wearlog.web.site.tags.due import card_key
from wearlog.words.bring import things_to_bring
from wearlog.words.kinds import with_edge
from wearlog.words.tasks import task_line, when

HOW_LONGEST = 1200
SPARES_NAMED = 6
"""How many spares are listed; further ones are only counted, so that they don't fill the sheet."""


@dataclass(frozen=True)
class Card:
    """One job card: the task, its press, what to bring, spares, and the layout on its sheets."""

    item: DueItem
    press: Press
    how: str
    bring: tuple[str, ...]
    spares: tuple[str, ...]
    more_spares: int
    job_path: str
    job_url: str
    sheets: tuple[Sheet, ...]

    @property
    def several(self) -> bool:
        return len(self.sheets) > 1


def turn_of(item: DueItem) -> str:
    """A hash of four characters of the item's cycle, which changes once the work has been logged."""
    return hashlib.sha256(item.cycle.encode()).hexdigest()[:4]


def job_path(item: DueItem) -> str:
    """The path in the card's QR code: the job, its cycle, and the version of the caution on the card."""
    query = urlencode({"c": item.caution.version, "n": turn_of(item)})
    return f"{reverse('web:scan-job', args=[card_key(item)])}?{query}"


def cards_of(
    items: Sequence[DueItem],
    *,
    site: str,
    paper: str,
    system: str,
    today: date,
    apply: Sequence[str],
    release: Sequence[str],
) -> list[Card]:
    """The cards of the tasks, in their order. `site` is what the QR codes' addresses begin with, `system` the
    reader's units, `apply` and `release` the steps as the page shows them."""
    presses = Press.objects.in_bulk({item.press_id for item in items})
    on_shelf = list(spares()) if any(item.action == Action.REPLACE for item in items) else []
    types = dict(
        Part.objects.filter(pk__in=[item.part_id for item in items if item.part_id]).values_list(
            "pk", "part_type_id"
        )
    )

    def fitting(item: DueItem) -> list[str]:
        if item.action != Action.REPLACE or item.part_id is None:
            return []
        like = [part for part in on_shelf if part.part_type_id == types[item.part_id]]
        return [part.code for part in like if part.pk != item.part_id]

    return [
        card_of(
            item,
            presses[item.press_id],
            fitting(item),
            site=site,
            paper=paper,
            system=system,
            today=today,
            apply=apply,
            release=release,
        )
        for item in items
    ]


def card_of(
    item: DueItem,
    press: Press,
    on_shelf: Sequence[str],
    *,
    site: str,
    paper: str,
    system: str,
    today: date,
    apply: Sequence[str],
    release: Sequence[str],
) -> Card:
    """One card; no query. `on_shelf` are the parts that could go on instead."""
    bring, how = things_to_bring(item, system), shortened(item.instructions)
    named, more = tuple(on_shelf[:SPARES_NAMED]), max(0, len(on_shelf) - SPARES_NAMED)
    content = Content(
        title=task_line(item),
        facts=facts_of(item, press, system=system),
        bench=bench_of(item, bring, named, more, today=today),
        how=how,
        caution=tuple(paragraph for paragraph in paragraphs_of(item.caution) if paragraph != before_work()),
        steps=before_work(),
        test=for_a_test(),
        apply=tuple(apply),
        release=tuple(release),
        points=item.caution.isolation_points,
    )
    return Card(
        item=item,
        press=press,
        how=how,
        bring=bring,
        spares=named,
        more_spares=more,
        job_path=job_path(item),
        job_url=site + job_path(item),
        sheets=sheets_of(content, paper=paper),
    )


def shortened(instructions: str) -> str:
    """The rule's instructions, cut where they would fill a sheet by themselves."""
    text = " ".join(instructions.split())
    if len(text) <= HOW_LONGEST:
        return text
    return text[:HOW_LONGEST].rsplit(" ", 1)[0] + " " + _("... (the rest stands with the rule)")


def facts_of(item: DueItem, press: Press, *, system: str) -> tuple[str, ...]:
    """The lines below the title, approximately as `card_sheet.html` writes them, to compute what fits."""
    where = f"Press: {press} ({press.code}), serial {press.serial}   Part: {with_edge(item.part, item.edge)}"
    facts = [f"{where}, 10.00 mm · {item.position}"]
    if item.wear is not None:
        new, last = units.show_length(item.wear.new_mm, system), item.wear.measured_mm is not None
        facts.append(f"Gauge: new {new}  limit {new}")
        if last:
            facts[-1] += f"  last {new} (Wed 28 Oct 2026)"
        if item.wear.now_mm is not None:
            facts[-1] += f"  now about {new} ({new} to {new})"
    return tuple(facts)


def bench_of(
    item: DueItem, bring: Sequence[str], spares: Sequence[str], more: int, *, today: date
) -> tuple[str, ...]:
    shelf = f" On the shelf: {', '.join(spares)}." if spares else ""
    return (
        f"Overdue: {when(item, today)}. {item.why}",
        f"Bring: {'; '.join(bring)}.{shelf}{' And 10 more.' if more else ''}",
    )

"""A list of tasks as one mail: by press, each with its caution, without saying the same thing forty times.

A caution is a row of paragraphs and a list of isolation points (`wearlog.lockout.text`). A paragraph that
every task of the list carries stands once at the top, one that every task of a press carries stands once
with the press, as its points do; the first paragraph, what can hurt, always stands with its own task.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Self

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.forecasts.items import DueItem
from wearlog.lockout.text import WIDTH, demand, paragraphs_of, word_of
from wearlog.people.models import User
from wearlog.reminders import mail_links
from wearlog.reminders.calls import Line
from wearlog.reminders.mail_words import bring, heading, order, said, stage_word, tidy, when
from wearlog.reminders.models import Stage

NEW = ("overdue", "due", "order", "coming")
"""In the order in which a subject counts them."""


@dataclass(frozen=True)
class Task:
    """One task of the list in words. `paragraphs` are those that it shares with no other group."""

    stage: str
    heading: str
    sentences: tuple[str, ...]
    why: str
    bring: str
    instructions: str
    link: str
    word: str
    paragraphs: tuple[str, ...]
    points: tuple[str, ...]


@dataclass(frozen=True)
class AtPress:
    """The tasks of one press, with what all their cautions say."""

    name: str
    paragraphs: tuple[str, ...]
    points: tuple[str, ...]
    tasks: tuple[Task, ...]


@dataclass(frozen=True)
class Digest:
    """The whole list. `word` is the strongest signal word in it; `counts` how many of each stage."""

    word: str
    paragraphs: tuple[str, ...]
    presses: tuple[AtPress, ...]
    counts: tuple[tuple[str, int], ...]

    @classmethod
    def of(
        cls,
        items: Sequence[DueItem],
        *,
        person: User,
        units: str,
        made_on: date,
        lines: Sequence[Line] = (),
    ) -> Self:
        """Raises TypeError for a task without its caution."""
        if lines and [line.item for line in lines] != list(items):
            raise ValueError("The lines of a list are those of its items, in the same order.")
        known = dict(enumerate(lines))
        everywhere = shared(items)
        presses = []
        for press in dict.fromkeys(item.press_id for item in items):
            mine = [(number, item) for number, item in enumerate(items) if item.press_id == press]
            of_press = [item for _number, item in mine]
            here = tuple(text for text in shared(of_press) if text not in everywhere)
            points = of_press[0].caution.isolation_points
            if any(item.caution.isolation_points != points for item in of_press):
                points = ()
            presses.append(
                AtPress(
                    name=tidy(of_press[0].press_name or of_press[0].press),
                    paragraphs=here,
                    points=points,
                    tasks=tuple(
                        task_of(
                            item,
                            known.get(number),
                            said_above=(*everywhere, *here),
                            points_above=points,
                            link=mail_links.job_url(item, person, made_on=made_on),
                            units=units,
                        )
                        for number, item in mine
                    ),
                )
            )
        return cls(
            word=strongest(items), paragraphs=everywhere, presses=tuple(presses), counts=counts(items, lines)
        )


def shared(items: Sequence[DueItem]) -> tuple[str, ...]:
    """The paragraphs that each of these tasks' cautions has after its first, in their order."""
    rest = [paragraphs_of(item.caution)[1:] for item in items]
    return tuple(text for text in rest[0] if all(text in others for others in rest)) if rest else ()


def task_of(
    item: DueItem,
    line: Line | None,
    *,
    said_above: Iterable[str],
    points_above: tuple[str, ...],
    link: str,
    units: str,
) -> Task:
    caution = demand(item.caution)
    first, *rest = paragraphs_of(caution) or [""]
    above = set(said_above)
    ordering = line is not None and line.stage == Stage.ORDER
    return Task(
        stage=stage_word(item, line.stage if line is not None else ""),
        heading=heading(item),
        sentences=tuple(
            text
            for text in (when(item), order(item, line.order_on if line and ordering else None), *said(line))
            if text
        ),
        why=item.why,
        bring=bring(item, units),
        instructions=item.instructions,
        link=link,
        word=word_of(caution),
        paragraphs=(first, *(text for text in rest if text not in above)),
        points=() if caution.isolation_points == points_above else caution.isolation_points,
    )


def strongest(items: Sequence[DueItem]) -> str:
    by_weight = {"DANGER": 3, "WARNING": 2, "CAUTION": 1}
    cautions = sorted((item.caution for item in items), key=lambda each: by_weight.get(each.signal_word, 0))
    return word_of(cautions[-1]) if cautions else ""


def counts(items: Sequence[DueItem], lines: Sequence[Line]) -> tuple[tuple[str, int], ...]:
    stages = [line.stage for line in lines] if lines else [Stage(item.state) for item in items]
    return tuple((stage, number) for stage in NEW if (number := stages.count(Stage(stage))))


def digest_subject(digest: Digest) -> str:
    """`3 tasks: 1 overdue, 2 coming up (North press, South press)`."""
    total = sum(number for _stage, number in digest.counts)
    tasks = ngettext("%(n)s task", "%(n)s tasks", total) % {"n": total}
    split = ", ".join(f"{number} {Stage(stage).label}" for stage, number in digest.counts)
    return f"{tasks}: {split} ({', '.join(press.name for press in digest.presses)})"


def digest_as_text(digest: Digest) -> str:
    blocks = [fold(digest_subject(digest))]
    if digest.paragraphs:
        blocks.append("\n".join([fold(f"{digest.word}: {before_each()}"), *map(fold, digest.paragraphs)]))
    for press in digest.presses:
        blocks.append("\n".join([press.name, "=" * min(len(press.name), WIDTH)]))
        if press.paragraphs:
            blocks.append("\n".join(map(fold, press.paragraphs)))
        if press.points:
            blocks.append(points_as_text(press.points))
        blocks += [task_as_block(task) for task in press.tasks]
    return "\n\n".join(blocks) + "\n"


def task_as_block(task: Task) -> str:
    first, *rest = task.paragraphs
    lines = [
        fold(f"{task.stage}: {task.heading}"),
        *map(fold, task.sentences),
        fold(_("Why: %(why)s") % {"why": task.why}),
        fold(_("Bring: %(things)s") % {"things": task.bring}) if task.bring else "",
        fold(task.instructions),
        fold(_("Open the job: %(link)s") % {"link": task.link}),
        fold(f"{task.word}: {first}"),
        *map(fold, rest),
        points_as_text(task.points) if task.points else "",
    ]
    return "\n".join(line for line in lines if line)


def before_each() -> str:
    return _("this holds for every task below.")


def points_as_text(points: Sequence[str]) -> str:
    return "\n".join([_("Isolation points:"), *(fold(point, first="  - ", later="    ") for point in points)])


def fold(text: str, *, first: str = "", later: str = "") -> str:
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    )

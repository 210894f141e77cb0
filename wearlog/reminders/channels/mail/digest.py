"""A list of tasks as one mail: by press, each with its caution, without repeating the same text for every
task.

A caution consists of paragraphs and isolation points (`wearlog.lockout.cautions.text`). A paragraph common to
all tasks of the list is written once at the top, one common to all tasks of a press once with the press,
together with its isolation points. The first paragraph, what can hurt, is always written with its own task.
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
from wearlog.lockout.cautions.text import WIDTH, demand, paragraphs_of, word_of
from wearlog.people.models import User
from wearlog.reminders.channels.mail import links as mail_links
from wearlog.reminders.channels.mail.words import bring, heading, order, remarks, stage_word, tidy
from wearlog.reminders.models import Stage
from wearlog.reminders.outbox.calls import Line
from wearlog.words.tasks import when_in_full

BY_STAGE = (Stage.OVERDUE, Stage.DUE, Stage.ORDER, Stage.COMING)
"""The order of stages for the tasks of a press and for the counts in the subject."""


@dataclass(frozen=True)
class Task:
    """One task of the list in words. `paragraphs` are those of its caution that are not written higher up."""

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
    """The tasks of one press, with the paragraphs and points common to their cautions."""

    name: str
    paragraphs: tuple[str, ...]
    points: tuple[str, ...]
    tasks: tuple[Task, ...]


@dataclass(frozen=True)
class DigestMail:
    """The whole list. `counts`: the number of tasks in each stage, in the order of BY_STAGE."""

    paragraphs: tuple[str, ...]
    presses: tuple[AtPress, ...]
    counts: tuple[tuple[Stage, int], ...]

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
        some_new = any(line.new for line in lines) and not all(line.new for line in lines)
        everywhere = shared(items)
        presses = []
        for press in dict.fromkeys(item.press_id for item in items):
            mine = [(number, item) for number, item in enumerate(items) if item.press_id == press]
            mine.sort(key=lambda each: BY_STAGE.index(stage_at(each[0], items, lines)))
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
                            is_new=some_new and lines[number].new,
                            said_above=(*everywhere, *here),
                            points_above=points,
                            link=mail_links.job_url(item, person, made_on=made_on),
                            units=units,
                        )
                        for number, item in mine
                    ),
                )
            )
        return cls(paragraphs=everywhere, presses=tuple(presses), counts=counts(items, lines))


def shared(items: Sequence[DueItem]) -> tuple[str, ...]:
    """The paragraphs after the first that the cautions of all these tasks have in common, in order."""
    rest = [paragraphs_of(item.caution)[1:] for item in items]
    return tuple(text for text in rest[0] if all(text in others for others in rest)) if rest else ()


def task_of(
    item: DueItem,
    line: Line | None,
    *,
    is_new: bool,
    said_above: Iterable[str],
    points_above: tuple[str, ...],
    link: str,
    units: str,
) -> Task:
    caution = demand(item.caution)
    first, *rest = paragraphs_of(caution) or [""]
    above = set(said_above)
    order_on = line.order_on if line is not None and line.stage == Stage.ORDER else None
    new = _("New on this list.") if is_new else ""
    sentences = (new, when_in_full(item), order(item, order_on), *remarks(line))
    return Task(
        stage=stage_word(item, line.stage if line is not None else ""),
        heading=heading(item),
        sentences=tuple(sentence for sentence in sentences if sentence),
        why=item.why,
        bring=bring(item, units),
        instructions=item.instructions,
        link=link,
        word=word_of(caution),
        paragraphs=(first, *(text for text in rest if text not in above)),
        points=() if caution.isolation_points == points_above else caution.isolation_points,
    )


def counts(items: Sequence[DueItem], lines: Sequence[Line]) -> tuple[tuple[Stage, int], ...]:
    stages = [stage_at(number, items, lines) for number in range(len(items))]
    return tuple((stage, number) for stage in BY_STAGE if (number := stages.count(stage)))


def stage_at(number: int, items: Sequence[DueItem], lines: Sequence[Line]) -> Stage:
    return lines[number].stage if lines else Stage(items[number].state)


def digest_subject(digest: DigestMail) -> str:
    """`3 tasks: 1 overdue, 2 coming up (North press, South press)`."""
    total = sum(number for _stage, number in digest.counts)
    tasks = ngettext("%(n)s task", "%(n)s tasks", total) % {"n": total}
    split = ", ".join(f"{number} {stage.label}" for stage, number in digest.counts)
    return f"{tasks}: {split} ({', '.join(press.name for press in digest.presses)})"


def digest_as_text(digest: DigestMail) -> str:
    blocks = [fold(digest_subject(digest))]
    if digest.paragraphs:
        blocks.append("\n".join([_("For every task below:"), *map(fold, digest.paragraphs)]))
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

"""Jobs grouped by press, each press with one caution for all its jobs.

A page shows jobs in a list only inside the frame of their press: `{% press_frame frame %}` draws the caution
and then the jobs, and the line of a job can't be drawn without a frame whose caution covers it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from wearlog.forecasts.items import DueItem
from wearlog.lockout.cautions.caution import Caution
from wearlog.lockout.cautions.queries import Cautions, TaskKind, cautions_for
from wearlog.lockout.cautions.text import demand


class JobOutsideFrame(TypeError):
    """A job was to be drawn without a frame whose caution covers it: an error of the program."""


@dataclass(frozen=True, eq=False)
class Frame:
    """One press, its caution, and those of its jobs that a page shows, most urgent first. `doing` says what
    the press is doing, in words; empty where a page shows that elsewhere."""

    press_id: int
    press_name: str
    caution: Caution
    jobs: tuple[DueItem, ...]
    doing: str = ""
    remarks: tuple[tuple[str, ...], ...] = ()
    """What a page adds to each job, in the order of `jobs`; empty for none."""

    def __post_init__(self) -> None:
        demand(self.caution)

    @property
    def points(self) -> int:
        """How many points are to be locked first; 0 where none is described yet."""
        return len(self.caution.isolation_points)

    def remarks_on(self, job: DueItem) -> tuple[str, ...]:
        return next((said for own, said in zip(self.jobs, self.remarks, strict=False) if own is job), ())

    def demand(self, job: object) -> DueItem:
        """The job, if this frame's caution was made for it; else raises JobOutsideFrame."""
        if not isinstance(job, DueItem) or not any(job is own for own in self.jobs):
            raise JobOutsideFrame(f"{job!r} is not one of the jobs that this caution covers.")
        return job


def framed(
    items: Iterable[DueItem], cautions: Cautions | None = None, *, doing: Mapping[int, str] | None = None
) -> list[Frame]:
    """The items by press, in the order in which the presses first appear; each caution names the hazards of
    all jobs in its frame. Two queries, or none where the cautions of their presses are given."""
    by_press: dict[int, list[DueItem]] = {}
    for item in items:
        by_press.setdefault(item.press_id, []).append(item)
    known = cautions or cautions_for(by_press)
    return [
        Frame(
            press_id=press_id,
            press_name=jobs[0].press_name or jobs[0].press,
            caution=known.of_all(press_id, kinds_of(jobs)),
            jobs=tuple(jobs),
            doing=(doing or {}).get(press_id, ""),
        )
        for press_id, jobs in by_press.items()
    ]


def kinds_of(jobs: Sequence[DueItem]) -> list[TaskKind]:
    return list(dict.fromkeys(TaskKind(job.action, job.kind) for job in jobs))

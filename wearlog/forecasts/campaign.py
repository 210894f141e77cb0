"""For a press that is open: what falls due within its coming campaign and can be done during the same stop.

The coming campaign follows the plan of the press from today until the crop changes or there is a pause;
without a plan, or where a person chooses so, it is a number of days. Common practice, no source: a press is
opened between campaigns rather than within one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from wearlog.equipment.kinds import KINDS, Kind
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import forecast_of_day, items_without_cautions
from wearlog.forecasts.outlook import Outlook
from wearlog.forecasts.triggers.season import QUIET_DAYS
from wearlog.history.rows import PlanRow
from wearlog.lockout.cautions.caution import Caution
from wearlog.lockout.cautions.queries import Cautions, cautions_for
from wearlog.service.work import ACTIONS, Opening

DAYS = 30
"""The number of days to look ahead without a plan: our choice; it can be changed on the page."""
MOST_DAYS = 365
LEAST_MARGIN, MOST_MARGIN = 7, 30
"""Work likely due soon after the campaign is worth doing too. The margin is a quarter of the campaign, within
these bounds (in days). Our choice, no source."""


def opens_press(*, action: str, kind: str) -> bool:
    """Whether the head must come off: for a part behind it, unless the part is greased or set from outside.

    `kind` is empty for the press as a whole; it is opened for cleaning or storing, for example, but not for
    greasing or inspecting. Belts, gears, motors, heaters, magnets and filters are reached with the head on.
    Common practice, no source; this does not say what has to be locked out: every source, for any work.
    """
    opening = ACTIONS[action].opening if action in ACTIONS else Opening.BY_PART
    if opening is Opening.NEVER:
        return False
    if kind in ("", Kind.OTHER):
        return opening is Opening.ALSO_WHOLE
    return kind in KINDS and KINDS[kind].behind_head


@dataclass(frozen=True, kw_only=True)
class Campaign:
    """The days from `begins` to `ends`, both included.

    `why` says what ends it: "change" (another crop is planned), "pause" (nothing is planned for
    `QUIET_DAYS`), "plan" (the plan ends there), "days" (a fixed number of days). `crops` are columns of the
    record, empty for "days"; `next_crop` is the crop that the plan changes to."""

    begins: date
    ends: date
    why: str
    crops: tuple[int, ...] = ()
    next_crop: int | None = None

    @property
    def days(self) -> int:
        return (self.ends - self.begins).days + 1

    @property
    def margin_days(self) -> int:
        return min(max(round(self.days / 4), LEAST_MARGIN), MOST_MARGIN)


def campaign_of(plan: Iterable[PlanRow], *, as_of: date, days: int | None = None) -> Campaign:
    """The coming campaign by a press's plan; with `days`, or without a plan, that many days from today."""
    ahead = sorted(
        (row for row in plan if row.end_on >= as_of and row.seed_kg > 0),
        key=lambda row: (row.start_on, row.end_on, row.crop),
    )
    if days is not None or not ahead:
        return Campaign(begins=as_of, ends=as_of + timedelta(days=(days or DAYS) - 1), why="days")
    begins = max(ahead[0].start_on, as_of)
    crops = {row.crop for row in ahead if row.start_on <= begins}
    ends = begins
    for row in ahead:
        pause = row.start_on > ends + timedelta(days=QUIET_DAYS)
        if row.crop not in crops and not pause:
            return Campaign(
                begins=begins,
                ends=max(row.start_on - timedelta(days=1), begins),
                why="change",
                crops=tuple(sorted(crops)),
                next_crop=row.crop,
            )
        if pause:
            return Campaign(begins=begins, ends=ends, why="pause", crops=tuple(sorted(crops)))
        ends = max(ends, row.end_on)
    return Campaign(begins=begins, ends=ends, why="plan", crops=tuple(sorted(crops)))


@dataclass(frozen=True)
class Grouped:
    """Due items grouped for one stop. `now`: due or overdue. `before_end`: may fall due before the campaign
    ends, by the early end of the range. `just_after`: likely due within the margin after it. `cant_tell`:
    needs the head off, and there are no data for a forecast yet. The rest can wait for another stop."""

    now: tuple[DueItem, ...] = ()
    before_end: tuple[DueItem, ...] = ()
    just_after: tuple[DueItem, ...] = ()
    cant_tell: tuple[DueItem, ...] = ()

    @property
    def listed(self) -> tuple[DueItem, ...]:
        return (*self.now, *self.before_end, *self.just_after)


def grouped(items: Sequence[DueItem], campaign: Campaign) -> Grouped:
    """The items of one press in groups, without those of parts off the press. In each group work that needs
    the head off comes first, then by likely day."""
    here = [item for item in items if item.part_id is None or item.fitting_id is not None]
    ends, margin = campaign.ends, timedelta(days=campaign.margin_days)

    def group(item: DueItem) -> str:
        if item.state == "unknown":
            return "cant_tell" if opens_press(action=item.action, kind=item.kind) else ""
        if item.state in ("overdue", "due"):
            return "now"
        if item.due_on is None:
            return ""
        if (item.early_on or item.due_on) <= ends:
            return "before_end"
        return "just_after" if item.due_on <= ends + margin else ""

    def order(item: DueItem) -> tuple[bool, date, str, str, str]:
        inside = opens_press(action=item.action, kind=item.kind)
        return (not inside, item.due_on or date.max, item.position, item.part, item.rule)

    found = {
        name: tuple(sorted((item for item in here if group(item) == name), key=order))
        for name in ("now", "before_end", "just_after", "cant_tell")
    }
    return Grouped(**found)


@dataclass(frozen=True, kw_only=True)
class Stop:
    """The work to consider when a press is opened on a day.

    `planned`: whether a plan lies ahead. `basis`: what the expected seed is based on ("plan", "same_weeks",
    "recent_pace", or "" where nothing is expected). `seed_kg`: seed that the press is expected to take in the
    campaign, None where nothing is expected. `caution`: that of opening the press as such; `cautions`:
    those of any work on it."""

    campaign: Campaign
    planned: bool
    crops: tuple[str, ...]
    next_crop: str
    seed_kg: float | None
    basis: str
    items: Grouped
    caution: Caution
    cautions: Cautions


def stop_at(press_id: int, *, as_of: date, days: int | None = None) -> Stop:
    """The stop of a press on a day. Reads only. `days` sets the length of the campaign instead of the
    plan."""
    forecast = forecast_of_day(as_of=as_of)
    record = forecast.ground.record
    plan = [row for row in record.plan if row.press_id == press_id]
    campaign = campaign_of(plan, as_of=as_of, days=days)
    outlook = Outlook(record)
    season = outlook.season(press_id)
    path = outlook.seed_path(press_id, 1.0, None)
    seed = None
    if path is not None:
        seed = path.by(campaign.ends) - path.by(campaign.begins - timedelta(days=1))
    next_crop = campaign.next_crop
    cautions = cautions_for([press_id])
    items = [
        replace(item, caution=cautions.of(press_id, action=item.action, kind=item.kind))
        for item in items_without_cautions(as_of=as_of, press_ids=[press_id], forecast=forecast)
    ]
    return Stop(
        campaign=campaign,
        planned=campaign_of(plan, as_of=as_of).why != "days",
        crops=tuple(record.crops[crop] for crop in campaign.crops),
        next_crop="" if next_crop is None else record.crops[next_crop],
        seed_kg=seed,
        basis="" if season is None else season.basis,
        items=grouped(items, campaign),
        caution=cautions.of(press_id, action="", kind=""),
        cautions=cautions,
    )

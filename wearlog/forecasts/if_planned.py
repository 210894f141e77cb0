"""What would be due by another plan. Nothing is written: the day's record is taken with that plan in it."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import DayRecord, Forecast
from wearlog.forecasts.memory.scope import Scopes
from wearlog.history.rows import PlanRow


def items_if_planned(
    forecast: Forecast, plan: Sequence[PlanRow], presses: Collection[int]
) -> dict[int, tuple[DueItem, ...]]:
    """The items of these presses by that plan of the whole mill, without their cautions. What gauges have
    taught stays as it is."""
    ground = forecast.ground
    record = ground.record.changed(plan=tuple(plan))
    changed = Forecast(DayRecord(ground.log, record, ground.edges, Scopes(record)), forecast.language)
    changed.ground.read_together(presses)
    return {press: changed.of_press(press)[1] for press in presses}

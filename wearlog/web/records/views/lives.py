"""The table of the lives of parts: page and files. Each life opens the runs that it was made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.http.response import HttpResponseBase
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.ended import ENDED_WORDS
from wearlog.compare.reliability import AgeUnit, PartLife, type_lives
from wearlog.forecasts.memory.queries import forecast_of_day
from wearlog.history.rows import TypeRow
from wearlog.people.roles import Permission
from wearlog.web.records.columns import Column, mass_of
from wearlog.web.records.files import as_csv, as_xlsx
from wearlog.web.records.filters import LifeFilters
from wearlog.web.records.page import Total, show, too_many_words
from wearlog.web.records.tables import Rows, sorter, table_of
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.opened import opened
from wearlog.words.kinds import part_words


@dataclass(frozen=True)
class LifeRow:
    type: TypeRow
    lived: PartLife
    press: str

    @property
    def pk(self) -> int:
        return self.lived.part.id

    @property
    def hours(self) -> float:
        return self.lived.age(AgeUnit.HOURS)

    @property
    def seed(self) -> float:
        return self.lived.age(AgeUnit.SEED)

    @property
    def address(self) -> str:
        """The runs of this life."""
        return opened("runs", "seed", part=self.lived.part.code, life=self.lived.cycle)


class LifeRows:
    """The lives in an order: by type and part to begin with."""

    def __init__(self, rows: list[LifeRow]) -> None:
        self.rows = rows

    def sort(self, by: str) -> None:
        keys = {
            "part": lambda row: (row.lived.part.code, row.lived.cycle),
            "type": lambda row: row.type.code,
            "press": lambda row: row.press,
            "hours": lambda row: row.hours,
            "seed": lambda row: row.seed,
            "ended": lambda row: str(ENDED_WORDS[row.lived.ended]),
        }
        self.rows.sort(key=keys[by.lstrip("-")], reverse=by.startswith("-"))

    def read(self, first: int, last: int) -> Sequence[LifeRow]:
        return self.rows[first:last]


@needs(Permission.VIEW)
def lives(request: MillRequest) -> HttpResponseBase:
    system = str(request.units)
    filters = LifeFilters(request.GET, words=dict(ENDED_WORDS))
    filters.form.is_valid()
    given = filters.form.cleaned_data
    record = forecast_of_day(as_of=timezone.localdate()).ground.record
    record.timelines_of(record.presses)  # the lives of parts are on all of them
    rows = LifeRows(
        [
            LifeRow(each.type, one, record.presses[one.press_id].label)
            for each in type_lives(record)
            for one in each.lived
            if (not given.get("type") or each.type.code == given["type"])
            and (not given.get("ended") or one.ended in given["ended"])
        ]
    )
    columns = _columns(system)
    wanted, too_many = request.GET.get("download", ""), too_many_words(request, len(rows.rows))
    hours, seed = sum(row.hours for row in rows.rows), sum(row.seed for row in rows.rows)
    if wanted in ("csv", "xlsx") and not too_many:
        if wanted == "csv":
            return as_csv(columns, rows.rows, "lives")
        sums = {"hours_h": hours, f"seed_{units.mass_unit(system)}": mass_of(seed, system)}
        last = [_("All together"), *(sums.get(column.key) for column in columns[1:])]
        return as_xlsx(columns, rows.rows, "lives", totals=[last], title=_("Lives of parts"))
    table = table_of(
        columns,
        Rows(len(rows.rows), sorter(columns, rows.sort), rows.read),
        kind="",
        system=system,
        caption=_("Lives of parts"),
        empty=_("No life answers to this choice."),
    )
    totals = [
        Total("number", _("Number"), units.show_number(len(rows.rows), 0, system)),
        Total("hours", _("Hours"), units.show_hours(hours, system)),
        Total("seed", _("Seed"), units.show_mass(seed, system)),
    ]
    return show(request, "lives", form=filters.form, table=table, totals=totals, too_many=too_many)


def _columns(system: str) -> list[Column[LifeRow]]:
    unit, seed = units.mass_unit(system), _("Seed")
    return [
        Column(
            "part",
            _("Part"),
            lambda row: part_words(row.type.kind, row.lived.part.code),
            sort="part",
            width=18,
            address=lambda row: row.address,
        ),
        Column("type", _("Type of part"), lambda row: row.type.code, sort="type"),
        Column("life", _("Life"), lambda row: row.lived.cycle + 1, digits=0),
        Column("press", _("Press"), lambda row: row.press, sort="press", width=16),
        Column("hours_h", _("Hours (h)"), lambda row: row.hours, digits=1, sort="hours"),
        Column(f"seed_{unit}", f"{seed} ({unit})", lambda row: mass_of(row.seed, system), 0, "seed"),
        Column(
            "ended", _("How it ended"), lambda row: str(ENDED_WORDS[row.lived.ended]), sort="ended", width=26
        ),
    ]

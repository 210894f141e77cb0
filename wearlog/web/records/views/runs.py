"""The table of runs: page and files."""

from __future__ import annotations

from django.http.response import HttpResponseBase
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.columns import headline, per_ton, shown
from wearlog.compare.records.chosen import Chosen, RunTotals, choose, season_names
from wearlog.compare.records.money import MoneyOfRuns, money_of_runs
from wearlog.people.roles import Permission, allows
from wearlog.runs.seasons import SEASON_START, BadSeasonStart
from wearlog.web.records.files import as_csv, as_xlsx
from wearlog.web.records.filters import RunFilters
from wearlog.web.records.page import Crop, Total, show, too_many_words
from wearlog.web.records.run_rows import RunRows, lines_in_file, run_columns
from wearlog.web.records.tables import Rows, sorter, table_of
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.opened import MONEY


@needs(Permission.VIEW)
def runs(request: MillRequest) -> HttpResponseBase:
    zone, system = request.mill.zone, str(request.units)
    filters = RunFilters(request.GET, zone=zone, seasons=_seasons(request))
    choice = filters.choice()
    chosen = choose(choice, today=timezone.localdate())
    money = None
    if request.GET.get("total") in MONEY and allows(request.user, Permission.OWN):
        money = money_of_runs(chosen, on=timezone.localdate())
    rows = RunRows(chosen, zone, money)
    wanted, too_many = request.GET.get("download", ""), too_many_words(request, chosen.id.size)
    if wanted in ("csv", "xlsx") and not too_many:
        in_file = run_columns(chosen, system, for_file=True, money=money)
        sort = sorter(in_file, rows.sort)
        for alias in reversed(request.GET.get("sort", "").split(",")):
            sort(alias)
        if wanted == "csv":
            return as_csv(in_file, rows.each(), "runs")
        totals = lines_in_file(in_file, chosen, system)
        return as_xlsx(in_file, rows.each(), "runs", totals=totals, title=_("Runs"))
    columns = run_columns(chosen, system, for_file=False, money=money)
    table = table_of(
        columns,
        Rows(chosen.id.size, sorter(columns, rows.sort), rows.read),
        kind="run",
        system=system,
        caption=_("Runs, newest first"),
        empty=_("No run answers to this choice."),
    )
    every = chosen.crops()
    return show(
        request,
        "runs",
        form=filters.form,
        table=table,
        totals=[
            *_totals(chosen.totals(), system),
            *_beside(chosen, filters.weights, system),
            *_money(money, system),
        ],
        crops=[
            Crop(chosen.crop_codes[place], _totals(chosen.totals(place), system, chosen.crop_codes[place]))
            for place in (every if len(every) > 1 else [])
        ],
        remarks=_remarks(chosen),
        too_many=too_many,
    )


def _seasons(request: MillRequest) -> list[str]:
    try:
        return season_names(request.GET.get("season_start") or SEASON_START)
    except BadSeasonStart:
        return season_names(SEASON_START)


def _totals(sums: RunTotals, system: str, crop: str = "") -> list[Total]:
    """The sums of runs in words; those of which nothing is recorded are left out."""
    named = f":{crop}" if crop else ""
    found = [
        ("runs", _("Runs"), units.show_number(sums.runs, 0, system)),
        ("hours", _("Hours"), units.show_hours(sums.hours, system)),
        ("seed", _("Seed"), units.show_mass(sums.seed, system)),
        ("hours_per_tonne", headline(system), units.show_per_tonne(sums.hours_per_tonne, system)),
        ("throughput", _("Throughput"), units.show_rate(sums.throughput, system)),
        ("oil", _("Oil"), units.show_mass(sums.oil, system)),
        ("oil_pct", _("Oil yield"), _percent(sums.oil_pct, system)),
        ("cake", _("Cake"), units.show_mass(sums.cake, system)),
        ("cake_pct", _("Cake of the seed"), _percent(sums.cake_pct, system)),
        ("energy", _("Energy"), _energy(sums.energy, system)),
        (
            "energy_per_tonne",
            _("Energy per short ton") if units.is_us(system) else _("Energy per tonne"),
            units.show_per_tonne(sums.energy_per_tonne, system, "kWh"),
        ),
    ]
    return [Total(name + named, words, text) for name, words, text in found if text != units.NOTHING]


def _percent(value: float | None, system: str) -> str:
    return units.NOTHING if value is None else f"{units.show_number(value, 1, system)} %"


def _energy(value: float | None, system: str) -> str:
    return units.NOTHING if value is None else f"{units.show_number(value, 0, system)} kWh"


def _beside(chosen: Chosen, mix: dict[str, float], system: str) -> list[Total]:
    """What is no run and yet in the totals of a part, and the rate at a mix of crops."""
    found = []
    if mix:
        rate = units.show_per_tonne(chosen.at_mix(mix), system)
        whole = sum(mix.values()) or 1.0
        crops = ", ".join(
            f"{crop} {units.show_number(100 * one / whole, 1, system)} %" for crop, one in mix.items()
        )
        found.append(Total("at_mix", _("At the mix %(crops)s") % {"crops": crops}, rate))
    if chosen.unlogged_h:
        words = _("of the hours: on the meter, in no run")
        found.append(Total("unlogged", words, units.show_hours(chosen.unlogged_h, system), soft=True))
    if chosen.earlier_h:
        words = _("of the hours: before this log")
        found.append(Total("earlier_hours", words, units.show_hours(chosen.earlier_h, system), soft=True))
    if chosen.earlier_kg:
        words = _("of the seed: before this log")
        found.append(Total("earlier_seed", words, units.show_mass(chosen.earlier_kg, system), soft=True))
    return found


def _money(found: MoneyOfRuns | None, system: str) -> list[Total]:
    if found is None:
        return []
    unit = f"{found.currency or '1'}/{units.per_word(system)}"

    def rate(name: str, words: str, per_tonne: float | None) -> Total:
        figure = shown(per_ton(per_tonne, units.is_us(system)), 2, system)
        return Total(name, words, f"{figure} {unit}")

    left = f"{shown(found.left, 0, system)} {found.currency}".strip()
    return [
        rate("cost_per_t", _("Cost"), found.whole.cost_per_t),
        rate("income_per_t", _("Oil and cake"), found.whole.income_per_t),
        rate("seed_per_t", _("Seed bought"), found.whole.seed_per_t),
        rate("left_per_t", _("Left over"), found.whole.left_per_t),
        Total("left", _("Left over in all"), left),
    ]


def _remarks(chosen: Chosen) -> list[str]:
    outside = int((~chosen.in_rates).sum())
    found = []
    if outside:
        found.append(
            _(
                "Rates and yields leave out purge, runs without hours, and seed that was worked out: "
                "%(number)s of these runs."
            )
            % {"number": outside}
        )
    if bool((chosen.share < 1).any()):
        found.append(
            _(
                "A run across a change of part counts in proportion to its time; a barrel takes its share of "
                "the seed."
            )
        )
    return found

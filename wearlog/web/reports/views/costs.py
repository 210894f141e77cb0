"""What a tonne costs: press against press, this season against the last, crops, lots, and what was paid."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.columns import WHICH_COST
from wearlog.compare.costs.season import SeasonCosts, season_costs
from wearlog.people.roles import Permission
from wearlog.web.reports import costing
from wearlog.web.reports.costing import Amounts
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.opened import opened
from wearlog.web.site.parted import Parted


@needs(Permission.OWN)
def costs(request: MillRequest) -> HttpResponse:
    found = season_costs(on=timezone.localdate(), season=request.GET.get("season", ""))
    context = {} if found is None else _context(request, found)
    return render(request, "web/reports/costs/page.html", context)


def _context(request: MillRequest, found: SeasonCosts) -> dict[str, object]:
    reader = Amounts(str(request.units), found.currency)
    presses = Parted.of(request, "presses", found.basket.presses)
    lots = Parted.of(request, "lots", found.lots)
    seasons = [one for one in (found.this, found.last) if one is not None]
    return {
        "found": found,
        "which_cost": WHICH_COST,
        "unit": reader.unit,
        "answer": costing.answer(found, reader),
        "left_out": costing.left_out(found),
        "presses": presses,
        "chart": costing.picture(presses.rows, found, reader),
        "names": [press.press_name for press in presses.rows],
        "kinds": [
            (row, list(zip([press.press_name for press in presses.rows], row.opened, strict=True)))
            for row in costing.kind_rows(presses.rows, found, reader)
        ],
        "against": costing.against_last(found, reader),
        "by_season": costing.group_rows(seasons, reader, narrow=True),
        "crops": costing.group_rows(
            found.crops, reader, narrow=True, opens=lambda one: {"season": found.season, "crop": one.crop}
        ),
        "lots": lots,
        "lot_rows": costing.group_rows(
            lots.rows,
            reader,
            opens=lambda one: {"season": found.season, "crop": one.crop, "lot": one.name},
        ),
        "paid": [
            (
                one.season,
                units.show_mass(one.tonnes * 1000, reader.system),
                reader.money(one.parts_used, 0),
                reader.money(one.parts_bought, 0),
                (
                    reader.money(one.invoices, 0),
                    opened("work", "paid", season=one.season) if one.invoices else "",
                ),
                reader.money(one.wages, 0),
                (
                    _("%(hours)s h") % {"hours": units.show_number(one.own_h, 0, reader.system)},
                    opened("work", "labour", season=one.season) if one.own_h else "",
                ),
            )
            for one in found.paid
        ],
        "on_no_run": [
            (one, reader.money(one.amount), units.show_number(one.labour_h, 1, reader.system))
            for one in found.on_no_run
        ],
    }

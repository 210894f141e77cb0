"""When to stop one part: what a tonne costs as it ages, with prices to try."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from wearlog.compare.ledger import OIL, Ledger, ledger
from wearlog.compare.stopping import Asked, stops
from wearlog.forecasts.memory.queries import forecast_of_day
from wearlog.history.record import Record
from wearlog.lockout.cautions.queries import cautions_for
from wearlog.people.roles import Permission
from wearlog.web.reports import sentences, stopping
from wearlog.web.reports.costing import Amounts
from wearlog.web.reports.forms.stopping import PricesToTry
from wearlog.web.site.access import MillRequest, needs


@needs(Permission.OWN)
def part_stop(request: MillRequest, pk: int) -> HttpResponse:
    """What a tonne costs on average as a part in use ages, and where that is lowest."""
    known = forecast_of_day(as_of=timezone.localdate())
    record, book = known.ground.record, ledger()
    if pk not in record.parts:
        raise Http404
    usual = _usual_prices(record, book, pk)
    form = PricesToTry(request.GET or None, usual=usual, currency=request.mill.currency)
    asked = form.asked() if form.is_bound else Asked()
    reader = Amounts(str(request.units), request.mill.currency)
    found = next(iter(stops(record, book, asked, part_id=pk)), None)
    presses = {press_id: row.label for press_id, row in record.presses.items()}
    context: dict[str, object] = {"part": record.parts[pk], "form": form, "found": found, "unit": reader.unit}
    if found is not None:
        kind = record.types[found.part.type_id].kind
        limit = stopping.limit_t(known.edges, found)
        context |= {
            "press": presses[found.press_id],
            "words": stopping.headline(found, limit),
            "lowest": stopping.lowest(found, reader),
            "at_limit": stopping.at_limit(found, limit, reader),
            "figures": stopping.figures(found, reader),
            "chart": stopping.picture(found, limit, reader),
            "rows": stopping.table(found, reader),
            "cost": reader.money(found.cost),
            "cautions": sentences.pressed_cautions(
                cautions_for(presses), presses, {found.press_id}, action="replace", kind=kind
            )
            if stopping.speaks_of_changing(found, limit)
            else [],
        }
    return render(request, "web/reports/stop.html", context)


def _usual_prices(record: Record, book: Ledger, part_id: int) -> Asked:
    """Those on record today."""
    return Asked(book.prices.on(OIL, record.as_of), book.unit_cost.get(record.parts[part_id].type_id))

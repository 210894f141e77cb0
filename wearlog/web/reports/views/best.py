"""The settings that press best on one press: a card for each crop, as a page and to hang at the press."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from wearlog.calc import units
from wearlog.compare.pressing_best import BANDS, Card, Found, Setting, SettingLine, cards
from wearlog.equipment.models import Press
from wearlog.people.roles import Permission
from wearlog.runs.models import Run
from wearlog.web.site.access import MillRequest, needs
from wearlog.words.history import column_words

PARTS = {Setting.DIE: gettext_lazy("Die"), Setting.SCREW: gettext_lazy("Screw")}


@needs(Permission.VIEW)
def best(request: MillRequest, pk: int) -> HttpResponse:
    press = get_object_or_404(Press, pk=pk)
    system = str(request.units)
    found = cards(press.pk, on=timezone.localdate())
    context = {
        "press": press,
        "cards": [(card, _rows(card, system)) for card in found],
        "on": timezone.localdate(),
    }
    return render(request, "web/reports/best.html", context)


def _rows(card: Card, system: str) -> list[tuple[str, str, str, int]]:
    """(setting, where there was most oil, where it went quickest, runs) of each setting."""

    def oil(value: float) -> str:
        return _("%(share)s %%") % {"share": units.show_number(value, 1, system)}

    def pace(value: float) -> str:
        return units.show_rate(value, system)

    return [
        (
            _setting(line.setting),
            _cell(line, line.oil, oil, system),
            _cell(line, line.pace, pace, system),
            line.runs,
        )
        for line in card.lines
    ]


def _setting(setting: Setting) -> str:
    return str(PARTS[setting]) if setting in PARTS else column_words(Run, setting)


def _cell(line: SettingLine, found: Found | None, show: Callable[[float], str], system: str) -> str:
    """`D5-04: 33.1 % (32.0 to 34.2) in 84 runs; others 32.4 %`."""
    if found is None:
        return _("can't tell yet: too few weeks, or always the same")
    values = {
        "value": _value(line.setting, found.value, system),
        "mean": show(found.best.mean),
        "low": show(found.best.low).split()[0],
        "high": show(found.best.high).split()[0],
        "runs": found.best.runs,
        "others": show(found.best.others),
    }
    if found.best.clear:
        return _("%(value)s: %(mean)s (%(low)s to %(high)s) in %(runs)s runs; others %(others)s") % values
    return (
        _("no clear difference; highest at %(value)s: %(mean)s (%(low)s to %(high)s) in %(runs)s runs")
        % values
    )


def _value(setting: Setting, value: str | float, system: str) -> str:
    if isinstance(value, str):
        return value
    low, high = value, value + BANDS[setting]
    if setting is Setting.HEAD:
        shown = [units.show_temperature(each, system) for each in (low, high)]
    elif setting is Setting.GAP:
        shown = [units.show_length(each, system) for each in (low, high)]
    else:
        unit = "Hz" if setting is Setting.DRIVE else "%"
        shown = [f"{units.show_number(each, 1, system)} {unit}" for each in (low, high)]
    return _("%(low)s to %(high)s") % {"low": shown[0].split()[0], "high": shown[1]}

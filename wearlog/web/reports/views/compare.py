"""Hours and costs per tonne across presses, crops and seasons: page and downloads."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django_tables2 import RequestConfig

from wearlog.compare.columns import figure_words, headline, pair_words
from wearlog.compare.earning import sentences
from wearlog.compare.earning import table as earned_table
from wearlog.compare.export import XLSX_TYPE, as_csv, as_xlsx
from wearlog.compare.gap import gap_sentence
from wearlog.compare.grounds import ground_words
from wearlog.compare.queries import GROUPS, BadGrouping, Comparison, parse_by
from wearlog.compare.queries import compare as compare_runs
from wearlog.compare.tables import compare_table
from wearlog.people.roles import Permission, allows
from wearlog.runs.seasons import SEASON_START, BadSeasonStart
from wearlog.web.drawing.charts.seasons_shown import season_pictures
from wearlog.web.drawing.charts.side_by_side import side_by_side
from wearlog.web.reports.opened import Behind
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.parted import Parted

GROUPINGS = (
    ("press,crop,season", _("press, crop and season")),
    ("press", _("press")),
    ("crop", _("crop")),
    ("season", _("season")),
    ("press,season", _("press and season")),
    ("crop,season", _("crop and season")),
)
FILTERS = {"press": _("Press"), "crop": _("Crop"), "season": _("Season")}
PER_PAGE = 50


def _asked(request: MillRequest) -> tuple[Comparison, str, list[tuple[str, str]]]:
    """The requested comparison, the season's start as typed, and (field, text) of each error."""
    errors = []
    try:
        by = parse_by(request.GET.get("by") or ",".join(GROUPS))
    except BadGrouping as error:
        by = GROUPS
        errors.append(("id_by", str(error)))
    typed = request.GET.get("season-start") or SEASON_START
    kept = {name: request.GET.getlist(name) for name in GROUPS}

    def run(season_start: str) -> Comparison:
        return compare_runs(
            by=by,
            season_start=season_start,
            presses=kept["press"],
            crops=kept["crop"],
            seasons=kept["season"],
            money_on=timezone.localdate() if allows(request.user, Permission.OWN) else None,
            over=not request.GET.get("download"),
        )

    try:
        return run(typed), typed, errors
    except BadSeasonStart as error:
        errors.append(("id_season-start", str(error)))
        return run(SEASON_START), typed, errors


@needs(Permission.VIEW)
def compare(request: MillRequest) -> HttpResponse:
    comparison, typed_start, errors = _asked(request)
    system = str(request.units)
    wanted = request.GET.get("download", "")
    if wanted == "csv":
        return _file(as_csv(comparison, system).encode(), "text/csv; charset=utf-8", "csv")
    if wanted == "xlsx":
        return _file(as_xlsx(comparison, system), XLSX_TYPE, "xlsx")

    behind = Behind(comparison, {name: request.GET.getlist(name) for name in GROUPS})
    table = compare_table(comparison, system, opened=behind.line)
    RequestConfig(request, paginate={"per_page": PER_PAGE, "silent": True}).configure(table)
    grouping = ",".join(comparison.by)
    presses = Parted.of(request, "presses", comparison.presses)
    pairs = Parted.of(request, "pairs", comparison.pairs)
    earned = earned_table(comparison, presses.rows, system)
    context = {
        "gap": gap_sentence(comparison.presses, system),
        "over": season_pictures(comparison.over, system, behind.season),
        "table": table,
        "comparison": comparison,
        "presses": presses,
        "figures": [
            (figure, *figure_words(figure, system), behind.crude(figure), behind.at_mix(figure))
            for figure in presses.rows
        ],
        "ground": ground_words(comparison.mix, comparison.left_out, system),
        "pairs": pairs,
        "pair_rows": [(*pair_words(pair, system), *behind.pair(pair)) for pair in pairs.rows],
        "chart": side_by_side(presses.rows, system, beside=comparison.presses),
        "earning": sentences(comparison, system),
        "earned": earned,
        "earned_words": [words for words, _figure in earned[0][1]] if earned else [],
        "headline": headline(system),
        "groupings": GROUPINGS,
        "grouping": grouping,
        "grouped_by": dict(GROUPINGS).get(grouping, grouping),
        "season_start": typed_start,
        "filters": [
            (
                name,
                FILTERS[name],
                [(value, words, value in request.GET.getlist(name)) for value, words in choices],
            )
            for name, choices in comparison.choices.items()
        ],
        "filtered": any(request.GET.getlist(name) for name in GROUPS),
        "errors": errors,
    }
    return render(request, "web/reports/compare/page.html", context)


def _file(body: bytes, content_type: str, ending: str) -> HttpResponse:
    response = HttpResponse(body, content_type=content_type)
    response["Content-Disposition"] = f'attachment; filename="hours-per-tonne.{ending}"'
    return response

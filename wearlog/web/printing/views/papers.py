"""Papers to keep or to hand over, each as a page and as a PDF of it: a part's whole life, and a season."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.compare.columns import WHICH_COST, Column, relevant, shown
from wearlog.compare.queries import Line
from wearlog.compare.season_report import Chapter, SeasonReport, season_report
from wearlog.compare.whole_life import whole_life
from wearlog.equipment.models import Part, Press
from wearlog.forecasts.memory.queries import forecast_of_day
from wearlog.people.roles import Permission, allows
from wearlog.runs.seasons import SEASON_START, parse_start
from wearlog.web.drawing.charts.wear_shown import part_charts
from wearlog.web.printing.views.cards import paper_of, pdf_answer
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.qr import site_of
from wearlog.words.kinds import part_words


def page_of_life(request: MillRequest, pk: int) -> dict[str, object]:
    """The context of `life.html`. Raises Http404 for a part that is not there."""
    part = get_object_or_404(Part.objects.select_related("part_type", "made_from"), pk=pk)
    now = timezone.now()
    known = forecast_of_day(as_of=timezone.localdate(now))
    system, paper = str(request.units), paper_of(request)
    name = part_words(part.part_type.kind, part.code)
    return {
        "part": part,
        "name": name,
        "made_into": part.made_into.all(),
        "life": whole_life(known.edges.record, part, start=parse_start(SEASON_START), system=system),
        "charts": part_charts(known.edges, part.pk, name=name, system=system),
        "made_at": now,
        "paper": paper,
        "page_css": f"web/page-{paper}.css",
        "pdf_url": f"{reverse('web:part-life-pdf', args=[pk])}?{urlencode({'paper': paper})}",
    }


@needs(Permission.VIEW)
def part_life(request: MillRequest, pk: int) -> HttpResponse:
    return render(request, "web/printing/life.html", page_of_life(request, pk))


@needs(Permission.VIEW)
def part_life_pdf(request: MillRequest, pk: int) -> HttpResponse:
    html = render_to_string("web/printing/life.html", page_of_life(request, pk), request=request)
    return pdf_answer(request, html, site=site_of(request), name=_("part"))


@dataclass(frozen=True)
class ShownChapter:
    """A chapter with its figures: their name, this season's, and those of the season before."""

    chapter: Chapter
    name: str
    figures: list[tuple[str, str, str]]
    crops: list[tuple[str, list[str]]]
    """A crop with its seed, hours per tonne and oil yield, each of this season and the one before."""
    headings: list[str]
    lists_parts: bool
    """A press's chapter in the report of the mill leaves the parts that were retired to the mill's."""


CROP_COLUMNS = ("seed_t", "seed_short_ton", "hours_per_tonne", "hours_per_short_ton", "oil_pct")


def shown_chapter(chapter: Chapter, report: SeasonReport, system: str) -> ShownChapter:
    line = chapter.now or chapter.before
    columns = [] if line is None else relevant((), line, system, currency=report.currency)
    told = [column for column in columns if column.key in CROP_COLUMNS]

    def value(column: Column, one: Line | None) -> str:
        return "" if one is None else shown(column.value(one), column.digits, system)

    return ShownChapter(
        chapter=chapter,
        name=str(chapter.press or _("The whole mill")),
        figures=[
            (column.words, value(column, chapter.now), value(column, chapter.before)) for column in columns
        ],
        crops=[
            (crop.crop, [value(column, one) for column in told for one in (crop.now, crop.before)])
            for crop in chapter.crops
        ],
        headings=[column.words for column in told],
        lists_parts=chapter.press is None or report.of_one_press,
    )


def page_of_season(request: MillRequest) -> dict[str, object]:
    """The context of `season.html`. `?season=2025/26`, else the newest; `&press=CODE` for one press. Raises
    Http404 for a season or a press that is not there; a mill without runs has no report."""
    now = timezone.now()
    season, press = request.GET.get("season", ""), request.GET.get("press", "")
    record = forecast_of_day(as_of=timezone.localdate(now)).edges.record
    presses = list(Press.objects.order_by("code"))
    money = allows(request.user, Permission.OWN)
    report = season_report(record, presses, season=season, press=press, money=money)
    if report is None and (season or press):
        raise Http404(_("There is no such season or press in the log. Choose among those that are offered."))
    system, paper = str(request.units), paper_of(request)
    context: dict[str, object] = {
        "report": report,
        "press": press,
        "all_presses": presses,
        "made_at": now,
        "paper": paper,
        "page_css": f"web/page-{paper}.css",
    }
    if report is not None:
        chapters = list(report.presses) if report.of_one_press else [report.mill, *report.presses]
        query = urlencode({"season": report.season, "press": press, "paper": paper})
        context["chapters"] = [shown_chapter(one, report, system) for one in chapters]
        if any(chapter.now is not None and chapter.now.money is not None for chapter in chapters):
            context["which_cost"] = WHICH_COST
        context["pdf_url"] = f"{reverse('web:season-report-pdf')}?{query}"
    return context


@needs(Permission.VIEW)
def season(request: MillRequest) -> HttpResponse:
    return render(request, "web/printing/season.html", page_of_season(request))


@needs(Permission.VIEW)
def season_pdf(request: MillRequest) -> HttpResponse:
    context = page_of_season(request)
    if context["report"] is None:
        raise Http404(_("No run has ended yet."))
    html = render_to_string("web/printing/season.html", context, request=request)
    return pdf_answer(request, html, site=site_of(request), name=_("season"))

"""Sheets of labels with QR codes as a page, and as a PDF of the same page."""

from __future__ import annotations

from urllib.parse import urlencode

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext as _

from wearlog.equipment.models import Press
from wearlog.people.roles import Permission
from wearlog.web.printing.labels import GROUPS, MOST, SIZES, Wanted, labels_for
from wearlog.web.printing.sheets import PAPERS
from wearlog.web.printing.views.cards import paper_of, pdf_answer
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.qr import is_this_machine_only, site_of


def page_of_labels(request: MillRequest) -> dict[str, object]:
    """The context of `labels.html`. `?what=presses&what=fitted&of=2&size=small&paper=a4`, or single ones by
    `?part=7&press=2&position=3`."""
    requested = request.GET
    size = requested.get("size", "")
    of = number(requested.get("of", ""))
    wanted = Wanted(
        groups=[group for group in requested.getlist("what") if group in GROUPS],
        press=of,
        presses=numbers(requested.getlist("press")),
        positions=numbers(requested.getlist("position")),
        parts=numbers(requested.getlist("part")),
    )
    site, paper = site_of(request), paper_of(request)
    size = size if size in SIZES else "middle"
    labels = labels_for(wanted, site=site, system=str(request.units))
    query = [(key, value) for key, values in requested.lists() if key != "paper" for value in values]
    return {
        "labels": labels,
        "full": len(labels) == MOST,
        "most": MOST,
        "groups": [(group, word, group in wanted.groups) for group, word in GROUPS.items()],
        "sizes": SIZES.items(),
        "size": size,
        "papers": list(PAPERS),
        "paper": paper,
        "presses": Press.objects.filter(retired_on__isnull=True),
        "of": of,
        "single": [
            (name, pk)
            for name, keys in (
                ("press", wanted.presses), ("position", wanted.positions), ("part", wanted.parts)
            )
            for pk in keys
        ],
        "page_css": f"web/page-{paper}.css",
        "pdf_url": f"{reverse('web:labels-pdf')}?{urlencode([*query, ('paper', paper)])}",
        "site": site,
        "lonely": is_this_machine_only(site),
    }  # fmt: skip


def number(text: str) -> int | None:
    return int(text) if text.isdecimal() and len(text) < 19 else None


def numbers(texts: list[str]) -> list[int]:
    return [pk for pk in map(number, texts[:MOST]) if pk is not None]


@needs(Permission.VIEW)
def labels(request: MillRequest) -> HttpResponse:
    return render(request, "web/printing/labels.html", page_of_labels(request))


@needs(Permission.VIEW)
def labels_pdf(request: MillRequest) -> HttpResponse:
    context = page_of_labels(request)
    if not context["labels"]:
        raise Http404(_("No label was chosen. Tick what the labels are for, and ask again."))
    html = render_to_string("web/printing/labels.html", context, request=request)
    return pdf_answer(request, html, site=site_of(request), name=_("labels"))

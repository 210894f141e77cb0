"""Job cards as a page, and as a PDF of the same page."""

from __future__ import annotations

from urllib.parse import urlencode

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.forecasts.items import STATES
from wearlog.forecasts.memory.queries import due_items
from wearlog.lockout.cautions.steps import APPLY, RELEASE, for_a_test
from wearlog.people.models import Units
from wearlog.people.roles import Permission
from wearlog.web.printing.cards import cards_of
from wearlog.web.printing.pdf import NoPdf, pdf_of
from wearlog.web.printing.sheets import PAPERS
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.qr import is_this_machine_only, site_of
from wearlog.web.site.tags.due import MOST_CARDS, card_key

SIGNERS = 3
"""The number of lines for people; more write on the back, and the isolation record has no limit."""


def paper_of(request: MillRequest) -> str:
    """The paper size in the query, else Letter for a mill with US units and A4 for others."""
    requested = request.GET.get("paper", "")
    if requested in PAPERS:
        return requested
    return "letter" if request.mill.units == Units.US else "a4"


def restart_steps() -> list[str]:
    """Common practice, no source."""
    return [
        _("preheat the head 15 to 20 minutes, or as the maker says"),
        _("start slowly, with little seed; watch amps, first oil and cake"),
    ]


def page_of_cards(request: MillRequest) -> dict[str, object]:
    """The context of `card.html`. `?item=KEY` once for each task, or `?all=due` for all tasks that are due;
    `&paper=a4` or `letter`.

    Tasks that have been done in the meantime are counted in `gone` and not printed, and of all due tasks
    those beyond `MOST_CARDS` in `left`. Raises Http404 without a key, or with more keys than `MOST_CARDS`.
    """
    now, paper, site = timezone.now(), paper_of(request), site_of(request)
    today = timezone.localdate(now)
    found = {card_key(item): item for item in due_items(as_of=today)}
    left = 0
    if request.GET.get("all") == "due":
        pressing = [item for item in found.values() if item.state in ("overdue", "due")]
        # In the order of the round: press by press, the most urgent first.
        pressing.sort(key=lambda item: (item.press, STATES.index(item.state), item.due_on or today))
        keys = [card_key(item) for item in pressing[:MOST_CARDS]]
        left = len(pressing) - len(keys)
        requested = [("all", "due")]
    else:
        keys = list(dict.fromkeys(request.GET.getlist("item")))
        requested = [("item", key) for key in keys]
        if not keys or len(keys) > MOST_CARDS:
            raise Http404(_("A job card needs the task that it is for."))
    items = [found[key] for key in keys if key in found]
    other = "letter" if paper == "a4" else "a4"
    apply = [str(step.clause) for step in APPLY]
    release = [*(str(step.clause) for step in RELEASE), *restart_steps()]
    cards = cards_of(
        items, site=site, paper=paper, system=str(request.units), today=today, apply=apply, release=release
    )
    return {
        "today": today,
        "printed_at": now,
        "cards": cards,
        "gone": len(keys) - len(items),
        "left": left,
        "most": MOST_CARDS,
        "apply": apply,
        "release": release,
        "test": for_a_test(),
        "signers": range(SIGNERS),
        "paper": paper,
        "page_css": f"web/page-{paper}.css",
        "pdf_url": f"{reverse('web:job-card-pdf')}?{urlencode([*requested, ('paper', paper)])}",
        "other_paper_url": f"{reverse('web:job-card')}?{urlencode([*requested, ('paper', other)])}",
        "site": site,
        "lonely": is_this_machine_only(site),
    }


@needs(Permission.VIEW)
def job_card(request: MillRequest) -> HttpResponse:
    return render(request, "web/printing/card.html", page_of_cards(request))


@needs(Permission.VIEW)
def job_card_pdf(request: MillRequest) -> HttpResponse:
    """The same page as a PDF. Where the software for it is missing, a page says what to install."""
    context = page_of_cards(request)
    if not context["cards"]:
        raise Http404(_("None of these tasks is in the forecast any more. Choose again from what is due."))
    html = render_to_string("web/printing/card.html", context, request=request)
    return pdf_answer(request, html, site=site_of(request), name=_("job-card"))


def pdf_answer(request: MillRequest, html: str, *, site: str, name: str) -> HttpResponse:
    try:
        content = pdf_of(html, site=site)
    except NoPdf as lacking:
        return render(request, "web/printing/no_pdf.html", {"lacking": lacking.message}, status=503)
    answer = HttpResponse(content, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return answer

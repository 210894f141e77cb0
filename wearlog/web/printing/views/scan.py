"""The pages that codes lead to: what the code names, and what can be done with it. Nothing is written."""

from __future__ import annotations

from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from wearlog.equipment.models import Fitting, Part, Position, Press
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import items_without_cautions, with_their_cautions
from wearlog.lockout.cautions.queries import caution_for_press
from wearlog.people.roles import Permission
from wearlog.service.models import Rule, Service
from wearlog.service.offered import FOR_PRESS, actions_for
from wearlog.web.printing.cards import turn_of
from wearlog.web.printing.found import Thing, found_by
from wearlog.web.site import known
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.codes import NoCode
from wearlog.web.site.frames import framed
from wearlog.web.site.log_lines import line
from wearlog.web.site.pages import today
from wearlog.web.site.tags.due import card_key

PRESSING = ("overdue", "due", "coming")
EMPTY_PLACES = 12
LAST_WORK = 3


@needs(Permission.VIEW)
def scan(request: MillRequest) -> HttpResponse:
    """A field to type a code into; `?code=` redirects to what it names, or asks which of several is meant."""
    typed = request.GET.get("code", "")[:200]
    if not typed.strip():
        return render(request, "web/printing/scan.html", {"typed": ""})
    try:
        things = found_by(typed)
    except NoCode as wrong:
        return render(request, "web/printing/scan.html", {"typed": typed, "error": wrong.message}, status=404)
    if len(things) == 1:
        return HttpResponseRedirect(reverse("web:scan-code", args=[things[0].code]))
    return render(request, "web/printing/scan.html", {"typed": typed, "things": things})


@needs(Permission.VIEW)
def code(request: MillRequest, code: str) -> HttpResponse:
    """The page of a code: the press, the position, the part with its edge in use, and what can be done."""
    try:
        thing = found_by(code)[-1]  # the code itself comes after names with the same spelling
    except NoCode as wrong:
        return render(request, "web/printing/scan.html", {"typed": code, "error": wrong.message}, status=404)
    return render(request, "web/printing/thing.html", page_of(request, thing))


def page_of(request: MillRequest, thing: Thing) -> dict[str, object]:
    day = today(request)
    items = [
        item for item in items_without_cautions(as_of=day) if concerns(item, thing) and item.state in PRESSING
    ]
    context: dict[str, object] = {
        "thing": thing,
        "press": thing.press,
        "due": framed(items),
        "today": day,
        "caution": caution_for_press(thing.press.pk, "", thing.kind) if thing.press else None,
    }
    if thing.place is not None:
        context["place"] = thing.place
        context["actions"] = actions_for(thing.place.position.kind, thing.fitting)
    elif thing.press is not None:
        places = known.places_of(thing.press)
        context["places"] = [(place, actions_for(place.position.kind, place.fitting)) for place in places]
        context["for_press"] = FOR_PRESS
    elif thing.part is not None:
        context["empty"] = list(
            Position.objects.filter(kind=thing.kind, press__retired_on__isnull=True)
            .exclude(fittings__in=Fitting.objects.open())
            .select_related("press")[:EMPTY_PLACES]
        )
    if thing.part is not None:
        context["edges"] = known.edges_of(thing.part)
    return context


def concerns(item: DueItem, thing: Thing) -> bool:
    if thing.part is not None and item.part_id == thing.part.pk:
        return True
    if thing.position is not None:
        return item.position_id == thing.position.pk
    return thing.part is None and thing.press is not None and item.press_id == thing.press.pk


@needs(Permission.VIEW)
def job(request: MillRequest, key: str) -> HttpResponse:
    """The job of a card: still due, with the button to log it, or what was logged since. `?c=` is the version
    of the caution on the card.

    `&n=` is the hash of the card's cycle of the job; when that one has been logged, the next one is shown
    with a remark.
    """
    found = {card_key(item): item for item in items_without_cautions(as_of=today(request))}
    numbers = numbers_in(key)
    if numbers is None:
        wrong = _("This address names no job: scan the card once more, or look among what is due.")
        return render(request, "web/printing/scan.html", {"typed": "", "error": wrong}, status=404)
    if key in found:
        (item,) = with_their_cautions([found[key]])
        printed = request.GET.get("c", "")[:40]
        changed = bool(printed) and printed != item.caution.version
        done = bool(request.GET.get("n")) and request.GET["n"] != turn_of(item)
        context = {"item": item, "printed": printed, "changed": changed, "done": done}
        return render(request, "web/printing/job.html", logged(request, *numbers) | context)
    return render(request, "web/printing/job.html", logged(request, *numbers))


def logged(request: MillRequest, rule_pk: int, press_pk: int, part_pk: int) -> dict[str, object]:
    """The last log entry about the job's part or rule, and the caution of such work."""
    rule = Rule.objects.filter(pk=rule_pk).first()
    press = Press.objects.filter(pk=press_pk).first()
    part = Part.objects.select_related("part_type").filter(pk=part_pk).first()
    work = (
        Service.objects.not_voided()
        .filter(press=press)
        .select_related("press", "part__part_type", "position", "entered_by", "crop_change__to_crop")
    )
    work = work.filter(part=part) if part else work.filter(rule=rule)
    return {
        "press": press,
        "part": part,
        "caution": caution_for_press(
            press.pk, rule.action if rule else "", part.part_type.kind if part else rule.kind if rule else ""
        )
        if press
        else None,
        "lines": [line(each, system=str(request.units)) for each in work.order_by("-done_at")[:LAST_WORK]],
    }


def numbers_in(key: str) -> tuple[int, int, int] | None:
    """The ids of rule, press and part in a card's key, 0 where it has none; None where the key is invalid."""
    pieces = key.split(".")
    if len(pieces) != 5 or not all(piece.isdecimal() and len(piece) < 19 for piece in pieces[:4]):
        return None
    return int(pieces[0]), int(pieces[1]), int(pieces[3])

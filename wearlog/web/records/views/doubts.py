"""The doubts desk: what in the log looks wrong, each asked once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.compare.doubts.looking import OpenDoubt
from wearlog.compare.doubts.open import open_doubts
from wearlog.compare.doubts.said import Said, kg_of, said
from wearlog.forecasts.memory.queries import forecast_of_day
from wearlog.history.record import Record
from wearlog.logbook import actions
from wearlog.people.refusals import Doubtful, Refused
from wearlog.people.roles import Permission
from wearlog.runs.models import Cause, Run, SettledDoubt
from wearlog.web.site.access import MillRequest, needs

LATEST = 30
"""How many answered doubts the page shows."""


@dataclass(frozen=True)
class Line:
    """One doubt on the page. key: the value by which a form names it. way: the address at which a person can
    put it right by hand, with its words; links: the runs concerned."""

    key: str
    press: str
    press_id: int
    said: Said
    way: str
    way_words: str
    runs: list[str]


@needs(Permission.VIEW, to_write=Permission.MAINTAIN)
def doubts(request: MillRequest) -> HttpResponse:
    record = forecast_of_day(as_of=timezone.localdate()).ground.record
    record.timelines_of(record.presses)  # reads the logs of all of them together
    found = open_doubts(record)
    if request.method == "POST":
        _answer(request, record, found)
        return HttpResponseRedirect(request.path)
    system = str(request.units)
    return render(
        request,
        "web/records/doubts.html",
        {
            "lines": [_line(doubt, record, system) for doubt in found],
            "settled": SettledDoubt.objects.select_related("press", "settled_by").order_by(
                "-settled_at", "-pk"
            )[:LATEST],
        },
    )


def _key(doubt: OpenDoubt) -> str:
    return f"{doubt.cause} {doubt.press} {doubt.first:.6f}"


def _line(doubt: OpenDoubt, record: Record, system: str) -> Line:
    way, words = _way(doubt, record)
    return Line(
        _key(doubt),
        record.presses[doubt.press].label,
        doubt.press,
        said(doubt, record, system),
        way,
        words,
        [reverse("web:record", kwargs={"kind": "run", "pk": pk}) for pk in doubt.runs],
    )


def _way(doubt: OpenDoubt, record: Record) -> tuple[str, str]:
    """Where a person puts it right by hand."""
    if doubt.cause == Cause.PACE:
        return reverse("web:correct", kwargs={"kind": "run", "pk": doubt.runs[0]}), _("Correct the run")
    if doubt.cause == Cause.STEP:
        return f"{reverse('web:work-new')}?press={doubt.press}", _("Log the work")
    if doubt.cause == Cause.SWAPPED:
        return "", ""
    if doubt.cause == Cause.IDLE:
        return reverse("web:press-edit", kwargs={"pk": doubt.press}), _("Count its hours by the meter")
    first = record.day_of(doubt.first)
    week = reverse("web:week", kwargs={"pk": doubt.press})
    return f"{week}?from={first.isoformat()}", _("Type up these days")


def _answer(request: MillRequest, record: Record, found: list[OpenDoubt]) -> None:
    doubt = next((each for each in found if _key(each) == request.POST.get("doubt")), None)
    if "again" in request.POST:
        _ask_again(request)
    elif doubt is None:
        messages.info(request, _("This doubt is answered already, or has gone with a correction."))
    else:
        _settle(request, record, doubt, accepted=request.POST.get("answer") == "accept")


def _ask_again(request: MillRequest) -> None:
    pk = request.POST["again"]
    try:
        actions.ask_again(by=request.user, at=timezone.now(), pk=int(pk) if pk.isdecimal() else 0)
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, _("It is asked again where it still stands."))


def _settle(request: MillRequest, record: Record, doubt: OpenDoubt, *, accepted: bool) -> None:
    now, begins = timezone.now(), datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=doubt.first)
    reason = said(doubt, record, str(request.units)).reason
    try:
        if not accepted or not reason:
            actions.settle_doubt(
                by=request.user,
                at=now,
                press_id=doubt.press,
                cause=doubt.cause,
                begins=begins,
                accepted=False,
            )
            messages.success(request, _("It stays as it is, and is not asked again."))
            return
        if doubt.cause == Cause.SWAPPED:
            actions.accept_exchange(
                by=request.user,
                at=now,
                run_ids=doubt.runs,
                begins=begins,
                press_id=doubt.press,
                reason=reason,
            )
        else:
            run, kg = Run.objects.get(pk=doubt.runs[0]), kg_of(doubt)
            assert kg is not None
            assert run.seed_kg is not None
            actions.accept_weight(
                by=request.user, at=now, run=run, seed_kg=kg, seen_kg=run.seed_kg, reason=reason
            )
    except Doubtful as doubtful:
        words = " ".join(each.question for each in doubtful.doubts)
        messages.warning(request, _("Not corrected: %(words)s Correct it by hand.") % {"words": words})
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, _("Corrected. The history of the record keeps what it said before."))

"""The response to a failed request: an error page, or JSON for an entry from a phone's queue.

It queries the database only where that has just reported a missing table, and the page extends no other
template, so that it works when everything else is unavailable.
"""

from __future__ import annotations

import logging
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import cast

from django.contrib.sessions.exceptions import SessionInterrupted
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template import loader
from django.utils import translation

from wearlog.people import upgrades
from wearlog.people.languages import language_of_browser
from wearlog.people.models import Mill
from wearlog.web.site.access import QUEUE_HEADER
from wearlog.web.site.faults import kinds
from wearlog.web.site.faults.kinds import Kind
from wearlog.web.site.faults.request_id import id_of

KEEP_AND_TRY_LATER = "busy"
"""The state that makes the phone's queue keep an entry and send it again later."""

LAST_RESORT = Path(__file__).resolve().parents[1] / "templates" / "500.html"
logger = logging.getLogger(__name__)


def broken(request: HttpRequest) -> HttpResponse:
    """Django's `handler500`: the response to every error that no view handles."""
    error = sys.exc_info()[1]
    kind = kinds.kind_of(error)
    if error is not None and kind is not kinds.BROKEN:
        kinds.release_frames(error)
    session = getattr(request, "session", None)
    if session is not None:
        session.modified = False  # changes of the failed request must not be saved
    return answer(request, kind, waiting=kinds.waiting() if kind is kinds.BEHIND else ())


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's `handler400`. Also called when the session could not be saved after the view has run; then it
    is unknown whether the view saved anything."""
    kind = kinds.kind_of(exception)
    if kind is kinds.BROKEN:
        ended = isinstance(exception, SessionInterrupted)  # ended elsewhere; the entry is not at fault
        return answer(request, replace(kinds.NOT_UNDERSTOOD, retry_after_s=5 if ended else None))
    return answer(request, replace(kind, saved=kinds.LOST.saved, do=kinds.LOST.do))


def answer(request: HttpRequest, kind: Kind, *, waiting: Sequence[str] = ()) -> HttpResponse:
    """The response for that kind of error. `waiting` are the names of unapplied migrations."""
    language = language_of(request)
    with translation.override(language):
        facts = {"kind": kind, "request_id": id_of(request), "waiting": upgrades.first_names(waiting)}
        if request.headers.get(QUEUE_HEADER):
            response: HttpResponse = JsonResponse(for_queue(facts), status=kind.status)
        else:
            response = HttpResponse(page(facts), status=kind.status)
            response.headers["Content-Language"] = language
    if kind.retry_after_s is not None:
        response.headers["Retry-After"] = str(kind.retry_after_s)
    response.headers["Cache-Control"] = "no-store"
    return response


def language_of(request: HttpRequest) -> str:
    """The language of the page, if already determined, else the browser's."""
    known = getattr(request, "language", "")
    return known or language_of_browser(request.headers.get("Accept-Language", ""), Mill())


def page(facts: dict[str, object]) -> str:
    try:
        return loader.render_to_string("fault.html", facts)
    except Exception:
        logger.exception("The page for a failed request could not be made.")
        return LAST_RESORT.read_text(encoding="utf-8").replace("{{ request_id }}", str(facts["request_id"]))


def for_queue(facts: dict[str, object]) -> dict[str, object]:
    """The JSON for the phone's queue, which keeps the entry unless `state` is `refused`."""
    kind = cast("Kind", facts["kind"])
    text = " ".join(str(part) for part in (kind.happened, kind.saved) if part)
    if kind.retry_after_s is None and kind.status < 500:
        return {"state": "refused", "problems": [["", f"{text} {kind.do}"]], "request": facts["request_id"]}
    return {
        "state": KEEP_AND_TRY_LATER,
        "why": kind.name,
        "text": " ".join(str(part) for part in (text, facts["waiting"], kind.ask) if part),
        "retry_after_s": kind.retry_after_s,
        "request": facts["request_id"],
    }

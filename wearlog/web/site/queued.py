"""Entries that a phone queued while it was offline, and sends again until it gets a response.

The phone posts the same form as the page would, with a header that names the entry (an idempotency key). For
an entry that was stored, the stored response is repeated, so that a retry changes nothing. One that was
refused or questioned is not remembered, and may be sent again with changes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta

from django.contrib import messages
from django.contrib.messages.storage.base import BaseStorage
from django.db import IntegrityError, transaction
from django.http import HttpResponse, HttpResponseRedirect, JsonResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.utils.html import strip_tags
from django.utils.translation import gettext as _

from wearlog.people.refusals import NotAllowed
from wearlog.web.models import QueuedEntry
from wearlog.web.site.access import QUEUE_HEADER, WHO_HEADER, MillRequest
from wearlog.web.site.forms import UnitsForm

LATER_HEADER = "X-Wearlog-Later"
"""The header of a request in the background: its messages are not shown on the next page."""
NAME_FIELD = "queue_name"
"""The header of a form that the script posts in place of the page: the name of the entry that the phone still
keeps."""
LONGEST_ID = 60
KEPT_FOR = timedelta(days=400)
"""How long names are remembered, since a phone may lie in a drawer over the winter."""


def is_queued(request: MillRequest) -> bool:
    return request.method == "POST" and bool(request.headers.get(QUEUE_HEADER))


def is_sent_later(request: MillRequest) -> bool:
    """Whether nobody waits for the answer: the phone sends on its own what was typed before."""
    return is_queued(request) and bool(request.headers.get(LATER_HEADER))


def is_named(request: MillRequest) -> bool:
    return request.method == "POST" and bool(request.POST.get(NAME_FIELD))


def write_once(request: MillRequest, write: Callable[[], HttpResponseBase]) -> HttpResponseBase:
    """Let the page write and respond as usual, and remember the entry's name if it was stored, so that a
    phone that did not get the response can send the entry again."""
    name = request.POST[NAME_FIELD][:LONGEST_ID]
    try:
        return _named(request, name, write)[0]
    except IntegrityError:
        row = QueuedEntry.objects.filter(name=name, person=request.user).first()
        if row is None or row.answer is None:
            raise
        return HttpResponseRedirect(row.answer["go"])


def _named(
    request: MillRequest, name: str, write: Callable[[], HttpResponseBase]
) -> tuple[HttpResponseBase, QueuedEntry]:
    """The page's response, and the row of the name, which is kept only if the entry was stored."""
    with transaction.atomic():
        row = QueuedEntry.objects.create(name=name, person=request.user, at=timezone.now())
        answer = write()
        if answer.status_code == 302:
            row.answer = {"state": "saved", "texts": _texts(request), "go": answer["Location"]}
            row.save()
        else:
            transaction.set_rollback(True)
    return answer, row


def answered(request: MillRequest, write: Callable[[], HttpResponse]) -> JsonResponse:
    """Let the page write, once for each entry, and return the result for the phone as JSON."""
    name = request.headers[QUEUE_HEADER][:LONGEST_ID]
    who = request.headers.get(WHO_HEADER, "")
    if who and who != str(request.user.pk):
        return JsonResponse({"state": "other_person", "name": str(request.user)}, status=409)
    try:
        answer, row = _named(request, name, write)
    except IntegrityError:
        return _as_before(request, name)
    except NotAllowed as refused:
        return JsonResponse({"state": "refused", "problems": [["", refused.message]]}, status=403)
    QueuedEntry.objects.filter(at__lt=timezone.now() - KEPT_FOR).delete()
    if answer.status_code == 302:
        return JsonResponse(row.answer)
    return answer if isinstance(answer, JsonResponse) else _other(answer)


def _as_before(request: MillRequest, name: str) -> JsonResponse:
    row = QueuedEntry.objects.filter(name=name).first()
    if row is None or row.answer is None:
        return JsonResponse({"state": "busy"}, status=503)
    if row.person_id != request.user.pk:
        return JsonResponse({"state": "other_person", "name": str(request.user)}, status=409)
    return JsonResponse(row.answer)


def _texts(request: MillRequest) -> list[str]:
    kept = messages.get_messages(request)
    assert isinstance(kept, BaseStorage)  # the middleware is there
    texts = [strip_tags(str(message)) for message in kept]
    if not request.headers.get(LATER_HEADER):
        # Keep the messages for the next page, which somebody is waiting for.
        kept.used = False
    return texts


def _other(answer: HttpResponseBase) -> JsonResponse:
    text = _("What this entry is about is not there any more. Open the page again and log it anew.")
    return JsonResponse({"state": "refused", "problems": [["", text]]}, status=answer.status_code)


def problem_of(form: UnitsForm, status: int) -> JsonResponse:
    """Why a form was not accepted: the errors with their fields, or the questions."""
    if form.errors:
        problems = [[name, str(text)] for name, texts in form.errors.items() for text in texts]
        state = "moved" if status == 409 else "refused"
        return JsonResponse({"state": state, "problems": problems}, status=status)
    doubts = [{"code": doubt.code, "question": doubt.question} for doubt in form.doubts]
    answer: dict[str, object] = {"state": "asked", "doubts": doubts, "confirmed": form.confirmed}
    return JsonResponse(answer)


def problem_of_sheet(head: UnitsForm, lines: Sequence[UnitsForm], status: int) -> JsonResponse:
    """Why a sheet was not accepted: the errors of its lines and of what they share, or the questions."""
    forms = [head, *lines]
    problems = [
        [form.add_prefix(name), str(text)]
        for form in forms
        for name, texts in form.errors.items()
        for text in texts
    ]
    if problems:
        return JsonResponse({"state": "refused", "problems": problems}, status=status)
    doubts = [{"code": doubt.code, "question": doubt.question} for form in forms for doubt in form.doubts]
    return JsonResponse({"state": "asked", "doubts": doubts, "confirmed": []})

"""Entries that a phone kept while there was no network, and sends again until it has an answer.

The phone sends the very form that it would have posted, with a header that names the entry. An entry that was
stored is answered from memory when it comes again, so that a resend changes nothing; one that was refused or
asked about leaves nothing behind, and may come again changed.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from django.contrib import messages
from django.db import IntegrityError, transaction
from django.http import HttpResponse, HttpResponseRedirect, JsonResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.utils.html import strip_tags
from django.utils.translation import gettext as _

from wearlog.people.refusals import NotAllowed
from wearlog.web.models import QueuedEntry
from wearlog.web.site.access import QUEUE_HEADER, WHO_HEADER, MillRequest
from wearlog.web.site.forms import Speaking

LATER_HEADER = "X-Wearlog-Later"
"""Sent where nobody waits for the answer: what was saved is then not said on the next page."""
NAME_FIELD = "queue_name"
"""Where the script posts a form as a page does: the name of the entry that the phone still keeps."""
LONGEST_ID = 60
KEPT_FOR = timedelta(days=400)
"""A phone may lie in a drawer over the winter."""


def is_queued(request: MillRequest) -> bool:
    return request.method == "POST" and bool(request.headers.get(QUEUE_HEADER))


def is_named(request: MillRequest) -> bool:
    return request.method == "POST" and bool(request.POST.get(NAME_FIELD))


def once(request: MillRequest, write: Callable[[], HttpResponseBase]) -> HttpResponseBase:
    """Let the page write and answer as a page, and remember the entry's name where it was stored: the phone
    lost nothing if this answer does not arrive, and sends the entry again."""
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
    """What the page answered, and the row of the name, which stands only where the entry was stored."""
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
    """Let the page write, once for each entry, and tell the phone in JSON what came of it."""
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
    texts = [strip_tags(str(message)) for message in messages.get_messages(request)]
    if not request.headers.get(LATER_HEADER):
        # Read, and still to be said: somebody waits for the next page.
        messages.get_messages(request).used = False  # type: ignore[union-attr]  # the middleware is there
    return texts


def _other(answer: HttpResponseBase) -> JsonResponse:
    text = _("What this entry is about is not there any more. Open the page again and log it anew.")
    return JsonResponse({"state": "refused", "problems": [["", text]]}, status=answer.status_code)


def problem_of(form: Speaking, status: int) -> JsonResponse:
    """Why a form was not taken: what is wrong (with its field), or what is asked."""
    if form.errors:
        problems = [[name, str(text)] for name, texts in form.errors.items() for text in texts]
        state = "moved" if status == 409 else "refused"
        return JsonResponse({"state": state, "problems": problems}, status=status)
    doubts = [{"code": doubt.code, "question": doubt.question} for doubt in form.doubts]
    answer: dict[str, object] = {"state": "asked", "doubts": doubts, "confirmed": form.confirmed}
    return JsonResponse(answer)

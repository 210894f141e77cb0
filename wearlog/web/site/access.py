"""Who may open a page. Every view of the site is decorated with `public` or `needs`, which a test checks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from functools import wraps
from typing import TypeVar
from urllib.parse import urlencode

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseRedirect, JsonResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy

from wearlog.people import sessions
from wearlog.people.models import Mill, User
from wearlog.people.roles import Permission, allows
from wearlog.reminders.outbox.calls import Marks

View = Callable[..., HttpResponseBase]
Answer = TypeVar("Answer", bound=HttpResponseBase)
QUEUE_HEADER = "X-Wearlog-Queue"
"""The request header with the name of an entry that a script sends and that is answered in JSON."""
WHO_HEADER = "X-Wearlog-Who"
"""The header with the person's id, so that pages and entries stored on a device are never shown to or logged
as another person."""
KEEP_HEADER = "X-Wearlog-Keep"
"""The header that allows a page to be cached on the device and opened offline."""

REFUSAL = {
    Permission.VIEW: gettext_lazy("Your account may not read this page. Ask an owner of the mill."),
    Permission.LOG: gettext_lazy(
        "Your account reads only. To log runs and work, ask an owner to make you an operator."
    ),
    Permission.MAINTAIN: gettext_lazy(
        "Parts, rules and energy sources are kept by maintainers. Ask one, or ask an owner for that role."
    ),
    Permission.OWN: gettext_lazy(
        "People, prices, the plan and settings are the owner's. Ask an owner of the mill."
    ),
}


class MillRequest(HttpRequest):
    """The type of a request after `MillMiddleware`, in a view behind `needs`: somebody is signed in, and the
    mill, the reader's units (`metric` or `us`) and language, the mill's day and the marks are set. On a
    public page `user` may be anonymous."""

    user: User
    mill: Mill
    units: str
    language: str
    today: date
    marks: Mapping[str, Marks]


def public(view: View) -> View:
    """Decorate a view that anybody may open."""

    @wraps(view)
    def opened(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
        return view(request, *args, **kwargs)

    vars(opened).update(permission=None)
    return opened


def kept_offline(view: View) -> View:
    """Decorate a view whose page devices may cache, for use at the press without a network. Goes below
    `needs`.

    Never for a page that says who has locked what, which must always come from the current record.
    """

    @wraps(view)
    def marked(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
        return mark_kept_offline(request, view(request, *args, **kwargs))

    return marked


def mark_kept_offline(request: HttpRequest, answer: Answer) -> Answer:
    if request.method == "GET" and answer.status_code == 200:
        answer.headers[KEEP_HEADER] = "yes"
    return answer


def needs(permission: Permission, *, to_write: Permission | None = None) -> Callable[[View], View]:
    """Decorate a view that requires signing in and a permission; `to_write` is required for methods other
    than GET and HEAD.

    Without a sign-in the response redirects to the sign-in page and back; without the permission it is 403.
    """

    def mark(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
            by_script = bool(request.headers.get(QUEUE_HEADER))
            if not request.user.is_authenticated:
                if by_script:
                    return JsonResponse({"state": "signed_out"}, status=401)
                back = request.get_full_path() if request.method == "GET" else "/"
                return HttpResponseRedirect(f"{reverse('web:sign-in')}?{urlencode({'next': back})}")
            requested = permission if request.method in ("GET", "HEAD") else to_write or permission
            if not allows(request.user, requested):
                if by_script:
                    refusal = [["", str(REFUSAL[requested])]]
                    return JsonResponse({"state": "refused", "problems": refusal}, status=403)
                raise PermissionDenied(str(REFUSAL[requested]))
            if request.method not in ("GET", "HEAD"):
                sessions.note_use(request.session, at=timezone.now())
            answer = view(request, *args, **kwargs)
            answer.headers[WHO_HEADER] = str(request.user.pk)
            return answer

        vars(guarded).update(permission=permission, permission_to_write=to_write or permission)
        return guarded

    return mark

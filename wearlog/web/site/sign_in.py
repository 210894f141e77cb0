"""Signing in by one-time link or by password, and signing out. Only POST changes anything."""

from __future__ import annotations

from datetime import datetime

from django.contrib.auth import authenticate, login, logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from wearlog.people import sessions, signin, throttling
from wearlog.people.devices import device_of
from wearlog.people.models import User
from wearlog.people.refusals import Refused
from wearlog.web.site import known_devices
from wearlog.web.site.access import public
from wearlog.web.site.callers import household

BACKEND = "django.contrib.auth.backends.ModelBackend"


def next_url(request: HttpRequest) -> str:
    """The page that the person wanted to open (`next`); only URLs of this site are accepted."""
    requested = request.POST.get("next") or request.GET.get("next") or ""
    here = url_has_allowed_host_and_scheme(
        requested, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return requested if here else "/"


def form_page(
    request: HttpRequest, *, username: str = "", problem: str = "", status: int = 200
) -> HttpResponse:
    context = {"username": username, "problem": problem, "next": next_url(request)}
    return render(request, "web/site/sign_in.html", context, status=status)


@public
@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    if request.method != "POST":
        return redirect("web:day") if request.user.is_authenticated else form_page(request)
    now = timezone.now()
    username, password = request.POST.get("username", "").strip(), request.POST.get("password", "")
    if not username or not password:
        return form_page(
            request, username=username, problem=_("Type your name and your password."), status=400
        )
    try:
        tried = throttling.count_attempt(
            account=username,
            address=household(request.META.get("REMOTE_ADDR", "")),
            known_device=known_devices.known_as(request, username),
            at=now,
        )
    except throttling.TooSoon as early:
        answer = form_page(request, username=username, problem=early.message, status=429)
        answer["Retry-After"] = str(early.wait_s)
        return answer
    user = authenticate(request, username=username, password=password)
    if not isinstance(user, User):
        return form_page(
            request,
            username=username,
            problem=_(
                "Name and password don't belong together. Capital letters count; "
                "an owner can make you a one-time link."
            ),
            status=400,
        )
    throttling.attempt_succeeded(tried)
    signin.note_password(user=user, at=now, device=device_here(request))
    return start_session(request, user, at=now, by_link=False)


@public
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def by_link(request: HttpRequest, secret: str) -> HttpResponse:
    """The page of a sign-in link. Opening it does not use the link, as mail programs open links; its button
    does."""
    if request.method != "POST":
        return render(request, "web/site/sign_in_link.html")
    now = timezone.now()
    try:
        user = signin.spend(secret=secret, at=now, device=device_here(request))
    except Refused as refusal:
        return render(request, "web/site/sign_in_link.html", {"problem": refusal.message}, status=400)
    return start_session(request, user, at=now, by_link=True)


def device_here(request: HttpRequest) -> str:
    return device_of(request.headers.get("User-Agent", ""))


def start_session(request: HttpRequest, user: User, *, at: datetime, by_link: bool) -> HttpResponse:
    """Begin a session and end one that was open on this device."""
    end_session(request, at=at)
    login(request, user, backend=BACKEND)
    sessions.begin(request.session, at=at, device=device_here(request), by_link=by_link)
    answer = redirect("web:day" if by_link else next_url(request))
    known_devices.remember(request, answer, user.username)
    return answer


def end_session(request: HttpRequest, *, at: datetime) -> None:
    """End the session on this device, if there is one."""
    key = request.session.session_key
    if isinstance(request.user, User) and key:
        handle = sessions.handle_of(key)
        sessions.end(by=request.user, at=at, person=request.user, handle=handle, action="sign out")
    logout(request)


@public
@never_cache
@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    end_session(request, at=timezone.now())
    return redirect("web:sign-in")

"""Signing in by one-time link or by password, and signing out. Only POST changes anything."""

from __future__ import annotations

from django.contrib.auth import authenticate, login, logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from wearlog.people.models import User
from wearlog.people.refusals import Refused
from wearlog.people.signin import spend
from wearlog.web.access import public
from wearlog.web.models import SignInFailure

BACKEND = "django.contrib.auth.backends.ModelBackend"


def way_back(request: HttpRequest) -> str:
    """Where the person wanted to go; only an address of this site."""
    asked = request.POST.get("next") or request.GET.get("next") or ""
    here = url_has_allowed_host_and_scheme(
        asked, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return asked if here else "/"


def address_of(request: HttpRequest) -> str:
    return str(request.META.get("REMOTE_ADDR", ""))[:45]


def form_page(
    request: HttpRequest, *, username: str = "", problem: str = "", status: int = 200
) -> HttpResponse:
    context = {"username": username, "problem": problem, "next": way_back(request)}
    return render(request, "web/signin.html", context, status=status)


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
    key = {"username": username.casefold()[:60], "address": address_of(request)}
    if SignInFailure.too_many(**key, at=now):
        return form_page(
            request,
            username=username,
            problem=_(
                "Ten wrong passwords in a quarter of an hour. Wait fifteen minutes, "
                "or ask an owner for a one-time link."
            ),
            status=429,
        )
    user = authenticate(request, username=username, password=password)
    if user is None:
        SignInFailure.note(**key, at=now)
        return form_page(
            request,
            username=username,
            problem=_(
                "Name and password don't belong together. Capital letters count; "
                "an owner can make you a one-time link."
            ),
            status=400,
        )
    SignInFailure.forget(**key)
    login(request, user)
    return redirect(way_back(request))


@public
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def by_link(request: HttpRequest, secret: str) -> HttpResponse:
    """A mail program that looks at the link spends nothing: the page's button does."""
    if request.method != "POST":
        return render(request, "web/signin_link.html")
    try:
        user: User = spend(secret=secret, at=timezone.now())
    except Refused as refusal:
        return render(request, "web/signin_link.html", {"problem": refusal.message}, status=400)
    if request.user.is_authenticated:
        logout(request)
    login(request, user, backend=BACKEND)
    return redirect("web:day")


@public
@never_cache
@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    return redirect("web:sign-in")

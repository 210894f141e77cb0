"""Template tags: which page is open, and which pages the reader may open."""

from __future__ import annotations

from dataclasses import dataclass

from django import template
from django.http import HttpRequest
from django.template.context import RequestContext
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext_lazy

from wearlog.people import sessions
from wearlog.people.models import User
from wearlog.people.roles import Permission, allows

register = template.Library()

MENUS = (
    (
        gettext_lazy("Log"),
        (
            ("log", gettext_lazy("The whole log"), Permission.VIEW),
            ("records-runs", gettext_lazy("Runs and work as tables"), Permission.VIEW),
            ("doubts", gettext_lazy("Doubts"), Permission.VIEW),
            ("run-new", gettext_lazy("Log a run"), Permission.LOG),
            ("shift-sheet", gettext_lazy("Log all presses at once"), Permission.LOG),
            ("work-new", gettext_lazy("Log work"), Permission.LOG),
            ("crop-change-new", gettext_lazy("Change the crop"), Permission.LOG),
            ("measurement-new", gettext_lazy("Log a gauge"), Permission.LOG),
            ("reading-new", gettext_lazy("Log a meter reading"), Permission.LOG),
            ("incident-new", gettext_lazy("Report an incident"), Permission.LOG),
            ("note-new", gettext_lazy("Leave a note"), Permission.LOG),
        ),
    ),
    (
        gettext_lazy("Reports"),
        (
            ("compare", gettext_lazy("Hours per tonne"), Permission.VIEW),
            ("worth", gettext_lazy("What lasts and what pays"), Permission.VIEW),
            ("worth-pays", gettext_lazy("What pays"), Permission.OWN),
            ("costs", gettext_lazy("What a tonne costs"), Permission.OWN),
            ("to-order", gettext_lazy("What to order"), Permission.VIEW),
            ("plan", gettext_lazy("Season plan"), Permission.VIEW),
            ("season-report", gettext_lazy("End of season"), Permission.VIEW),
            ("track-record", gettext_lazy("Track record"), Permission.VIEW),
        ),
    ),
    (
        gettext_lazy("Set-up"),
        (
            ("rules", gettext_lazy("Service rules"), Permission.VIEW),
            ("yearly", gettext_lazy("Once a year: lockout"), Permission.VIEW),
            ("cautions", gettext_lazy("Words of the cautions"), Permission.VIEW),
            ("part-types", gettext_lazy("Part types"), Permission.VIEW),
            ("crops", gettext_lazy("Crops"), Permission.VIEW),
            ("labels", gettext_lazy("Labels to print"), Permission.VIEW),
            ("prices", gettext_lazy("Prices"), Permission.OWN),
            ("people", gettext_lazy("People"), Permission.OWN),
            ("exchange", gettext_lazy("Import and export"), Permission.OWN),
            ("settings", gettext_lazy("The mill"), Permission.OWN),
            ("my-calendar", gettext_lazy("Calendar"), Permission.VIEW),
            ("my-settings", gettext_lazy("My settings"), Permission.VIEW),
        ),
    ),
)
"""The menus beside the tabs: what is logged, what is read, what is set up. By menu its pages in order, each
with URL name, text and the permission to open it."""


@dataclass(frozen=True)
class Link:
    url: str
    word: str
    current: bool


def open_page(context: RequestContext) -> str:
    match = getattr(context.get("request"), "resolver_match", None)
    return match.url_name or "" if match else ""


@register.simple_tag(takes_context=True)
def current(context: RequestContext, *names: str) -> SafeString:
    """`aria-current` for the tab of the open page."""
    return SafeString(' aria-current="page"') if open_page(context) in names else SafeString("")


@dataclass(frozen=True)
class Menu:
    word: str
    links: list[Link]


@register.simple_tag(takes_context=True)
def index_menus(context: RequestContext) -> list[Menu]:
    """The menus with the links that the reader may open."""
    user = context["request"].user
    return [
        Menu(
            str(heading),
            [
                Link(reverse(f"web:{name}"), str(word), open_page(context) == name)
                for name, word, permission in pages
                if allows(user, permission)
            ],
        )
        for heading, pages in MENUS
    ]


@register.filter
def may(user: User, permission: str) -> bool:
    """`request.user|may:"log"`: whether the reader's role has the permission."""
    return allows(user, Permission(permission))


@register.filter
def use_is_old(request: HttpRequest) -> bool:
    """Whether the page's script should report that the device is in use."""
    return sessions.use_is_old(request.session, at=timezone.now())

"""Which page is open, and which pages the reader may open."""

from __future__ import annotations

from dataclasses import dataclass

from django import template
from django.template.context import RequestContext
from django.urls import reverse
from django.utils.safestring import SafeString

from wearlog.people.models import User
from wearlog.people.roles import Permission, allows

register = template.Library()

INDEX = (
    ("log", "The whole log", Permission.VIEW),
    ("compare", "Hours per tonne", Permission.VIEW),
    ("run-new", "Log a run", Permission.LOG),
    ("work-new", "Log work", Permission.LOG),
    ("measurement-new", "Log a gauge", Permission.LOG),
    ("reading-new", "Log a meter reading", Permission.LOG),
    ("incident-new", "Report an incident", Permission.LOG),
    ("crop-change-new", "Sign a crop change", Permission.LOG),
    ("note-new", "Leave a note", Permission.LOG),
    ("plan", "Season plan", Permission.VIEW),
    ("rules", "Service rules", Permission.VIEW),
    ("part-types", "Part types", Permission.VIEW),
    ("crops", "Crops", Permission.VIEW),
    ("prices", "Prices", Permission.OWN),
    ("people", "People", Permission.OWN),
    ("exchange", "Import and export", Permission.OWN),
    ("settings", "The mill", Permission.OWN),
    ("my-settings", "My settings", Permission.VIEW),
)
"""Pages that the index lists, in its order: name of the address, words, permission to open it."""


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
    """`aria-current` for a tab whose page is open."""
    return SafeString(' aria-current="page"') if open_page(context) in names else SafeString("")


@register.simple_tag(takes_context=True)
def index_links(context: RequestContext) -> list[Link]:
    """The index, shortened to what the reader may open."""
    user = context["request"].user
    links = []
    for name, word, permission in INDEX:
        if allows(user, permission):
            links.append(Link(reverse(f"web:{name}"), word, open_page(context) == name))
    return links


@register.filter
def may(user: User, permission: str) -> bool:
    """`request.user|may:"log"`: does the reader's role carry the permission?"""
    return allows(user, Permission(permission))

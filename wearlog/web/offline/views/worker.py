"""The service worker and the manifest, so that a phone can open pages offline and install the site."""

from __future__ import annotations

import hashlib
import json
from functools import cache
from pathlib import Path

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import condition, require_safe

from wearlog.web.site.access import public

FOLDER = Path(__file__).resolve().parents[2] / "static" / "web"
PAPER = "#f6f1e4"
ICONS = (("icon-192.png", "192x192"), ("icon-512.png", "512x512"))


def program() -> str:
    """The service worker's script, after one line of data from the server.

    The line contains a hash of all style sheets and scripts, so that a browser, which compares the script
    byte by byte, notices a new version of any of them.
    """
    facts = {
        "version": fingerprint() if settings.DEBUG else kept_fingerprint(),
        "statics": settings.STATIC_URL,
        "waiting": reverse("web:waiting"),
        "signIn": reverse("web:sign-in"),
        "signOut": reverse("web:sign-out"),
        "title": _("No network"),
        "text": _("This page is not kept on this device. Open it again once there is a network."),
    }
    return f"self.FACTS = {json.dumps(facts)};\n{(FOLDER / 'worker.js').read_text()}"


def fingerprint() -> str:
    found = hashlib.sha256()
    for path in sorted(FOLDER.iterdir()):
        found.update(path.name.encode() + b"\0" + path.read_bytes())
    return found.hexdigest()[:16]


kept_fingerprint = cache(fingerprint)


def etag(request: HttpRequest) -> str:
    return f'"{hashlib.sha256(program().encode()).hexdigest()[:16]}"'


@public
@require_safe
@condition(etag_func=etag)
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker. It is served from the root, since its scope is the path of its own URL."""
    return HttpResponse(
        program(), content_type="text/javascript; charset=utf-8", headers={"Cache-Control": "no-cache"}
    )


@public
@require_safe
def manifest(request: HttpRequest) -> HttpResponse:
    """The web app manifest for installing the site on a home screen."""
    drawn = {"src": static("web/icon.svg"), "sizes": "any", "type": "image/svg+xml"}
    icons = [{"src": static(f"web/{name}"), "sizes": size, "type": "image/png"} for name, size in ICONS]
    return JsonResponse(
        {
            "name": "Wearlog",
            "short_name": "Wearlog",
            "description": _("Hours, tonnes and wear of the presses, and what is due next"),
            "lang": get_language(),
            "id": "/",
            "start_url": "/",
            "scope": "/",
            "display": "standalone",
            "background_color": PAPER,
            "theme_color": PAPER,
            "icons": [drawn, *icons],
        },
        content_type="application/manifest+json",
    )

"""Pages, styles and scripts are sent compressed: a barn's network is slow (docs/decisions/compression.md)."""

from __future__ import annotations

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

TEXT = (
    "text/",
    "application/javascript",
    "application/json",
    "application/manifest+json",
    "application/problem+json",
    "image/svg+xml",
)
"""Beginnings of content types worth the work; archives, PDF and photos are packed already."""


class TextCompression(GZipMiddleware):
    """Compresses text that a browser may read compressed, static files included. Each response gets up to 100
    random bytes with it, so that its length tells little about its words; a page that must not be kept
    anywhere (`no-store`: it shows a secret) is sent as it is."""

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        secret = "no-store" in response.headers.get("Cache-Control", "")
        if secret or not response.headers.get("Content-Type", "").startswith(TEXT):
            return response
        return super().process_response(request, response)

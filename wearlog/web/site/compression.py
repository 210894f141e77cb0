"""Compresses pages, styles and scripts, since a barn's network is slow (docs/decisions/compression.md)."""

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
"""Prefixes of content types to compress; archives, PDF and photos are compressed already."""


class TextCompression(GZipMiddleware):
    """Compresses text responses for browsers that accept it, including static files. Up to 100 random bytes
    are added to each, so that its length reveals little about its content (BREACH attack); a `no-store` page,
    which shows a secret, is not compressed."""

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        secret = "no-store" in response.headers.get("Cache-Control", "")
        if secret or not response.headers.get("Content-Type", "").startswith(TEXT):
            return response
        return super().process_response(request, response)

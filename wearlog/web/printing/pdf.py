"""Renders a page of the site as a PDF, from the same HTML and style sheets, without network access.

WeasyPrint draws it. It is an extra (`pip install 'wearlog[pdf]'`) and needs Pango and a typeface from the
system, so it may be missing; then `NoPdf` says what to install (docs/decisions/pdf.md).
"""

from __future__ import annotations

import mimetypes
from typing import Any
from urllib.parse import unquote, urlsplit

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.utils.translation import gettext as _

from wearlog.people.refusals import Refused

PACKAGES = "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-liberation fonts-dejavu-core"
INSTALL_LIBRARY = "pip install 'wearlog[pdf]'"
INSTALL_PACKAGES = f"apt-get install --no-install-recommends {PACKAGES}"
"""Debian's names of the packages that WeasyPrint needs, of the typeface used to compute the layout of sheets,
and of one for characters that it lacks, such as Arabic."""


class NoPdf(Refused):
    """This machine can't make a PDF. The message names what to install."""


def pdf_of(html: str, *, site: str) -> bytes:
    """The page as a PDF with embedded fonts. Raises `NoPdf` where the library or system packages are missing.

    Links are relative to `site`; the page can only load the site's own static files.
    """
    weasyprint = _library()
    document = weasyprint.HTML(string=html, base_url=f"{site}/", url_fetcher=_own_files(weasyprint, site))
    content: bytes = document.write_pdf()
    return content


def _library() -> Any:
    try:
        import weasyprint
    except ImportError as missing:
        raise NoPdf(
            _("WeasyPrint is not installed. Whoever keeps this site runs: %(command)s")
            % {"command": INSTALL_LIBRARY}
        ) from missing
    except OSError as missing:
        raise NoPdf(
            _("The system lacks a library that draws text (%(detail)s). On Debian: %(command)s")
            % {
                "detail": str(missing).split("\n")[0],
                "command": INSTALL_PACKAGES,
            }
        ) from missing
    return weasyprint


def _own_files(weasyprint: Any, site: str) -> object:
    """A URL fetcher for WeasyPrint that opens only the site's static files, never the network or other
    files."""

    class OwnFiles(weasyprint.urls.URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: object = None) -> object:
            return weasyprint.urls.URLFetcherResponse(
                url, static_file(url, site=site), headers={"Content-Type": mimetypes.guess_type(url)[0] or ""}
            )

    return OwnFiles()


def static_file(url: str, *, site: str) -> bytes:
    """The content of the static file with that URL. Raises ValueError for any other URL."""
    parts = urlsplit(url)
    prefix = urlsplit(str(settings.STATIC_URL)).path.strip("/") + "/"
    path = unquote(parts.path).lstrip("/")
    if not url.startswith(f"{site}/") or not path.startswith(prefix) or ".." in path:
        raise ValueError(f"A page on paper loads only the site's own files, not {url}.")
    name = path.removeprefix(prefix)
    found = finders.find(name)
    if isinstance(found, str):
        with open(found, "rb") as file:
            return file.read()
    with staticfiles_storage.open(name) as file:
        return bytes(file.read())

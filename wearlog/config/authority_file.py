"""The certificate of the mill's own authority, for a phone to download. It is public; the key is never
served."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from wearlog.web.site.access import public


@public
@require_safe
def authority_file(request: HttpRequest) -> HttpResponse:
    try:
        found = (Path(settings.DATA_DIR) / "https" / "authority.crt").read_bytes()
    except OSError as error:
        raise Http404(_("This site has no authority of its own.")) from error
    return HttpResponse(found, content_type="application/x-x509-ca-cert")

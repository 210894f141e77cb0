"""The WSGI application, for any WSGI server: `gunicorn wearlog.config.wsgi`."""

import logging
import os

from django.core.wsgi import get_wsgi_application

from wearlog.logbook.backups import holding

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wearlog.config.settings")


def warn_of_plain_http() -> None:
    from wearlog.config import plain_http  # once the settings are there

    if hosts := plain_http.by_settings():
        logging.getLogger("wearlog.config").warning("%s. %s", plain_http.words(hosts), plain_http.REMEDY)


application = get_wsgi_application()
from django.conf import settings  # noqa: E402

warn_of_plain_http()
holding.hold_shared(settings.DATA_DIR)  # no backup is restored while pages are served

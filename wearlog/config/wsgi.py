"""The pages for any WSGI server: `gunicorn wearlog.config.wsgi`."""

import logging
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wearlog.config.settings")


def warn_of_plain_http() -> None:
    from wearlog.config import plain_http  # once the settings are there

    if hosts := plain_http.by_settings():
        logging.getLogger("wearlog.config").warning("%s. %s", plain_http.words(hosts), plain_http.REMEDY)


application = get_wsgi_application()
warn_of_plain_http()

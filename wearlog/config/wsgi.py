import os

from django.core.wsgi import get_wsgi_application

from wearlog.logbook.backups import holding

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wearlog.config.settings")

application = get_wsgi_application()

from django.conf import settings  # noqa: E402

holding.join(settings.DATA_DIR)  # no backup is restored while pages are served

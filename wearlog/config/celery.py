"""The Celery application: `celery -A wearlog.config worker`."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wearlog.config.settings")

app = Celery("wearlog")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()

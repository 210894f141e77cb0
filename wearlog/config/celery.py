"""The Celery application: `celery -A wearlog.config worker`."""

import os
from importlib import import_module

from celery import Celery
from celery.signals import beat_init, worker_init

from wearlog.logbook.backups import holding

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wearlog.config.settings")

app = Celery("wearlog")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@worker_init.connect  # type: ignore[untyped-decorator]  # celery has no types
@beat_init.connect  # type: ignore[untyped-decorator]
def register_process(**_: object) -> None:
    """Register this process as running, so that no backup is restored meanwhile. Celery offers no other
    hook."""
    from django.conf import settings

    holding.hold_shared(settings.DATA_DIR)


@worker_init.connect  # type: ignore[untyped-decorator]
def load_libraries(**_: object) -> None:
    """Load what forecasts compute with before the worker's processes part: each would take a while
    and tens of megabytes for it."""
    import_module("wearlog.calc.drift")

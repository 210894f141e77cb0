"""Where a library forces `Any` or `type: ignore`, and how many of them: new ones are to be noticed."""

FORCED: dict[str, tuple[str, int]] = {
    "wearlog/compare/tables.py": ("django_tables2", 1),
    "wearlog/config/beat.py": ("celery", 1),
    "wearlog/config/celery.py": ("celery", 3),
    "wearlog/forecasts/memory/snapshots.py": ("json", 2),
    "wearlog/forecasts/tasks.py": ("celery", 3),
    "wearlog/logbook/exchange/exporting.py": ("django", 2),
    "wearlog/logbook/tasks.py": ("celery", 2),
    "wearlog/people/fields.py": ("django", 8),
    "wearlog/people/sessions.py": ("django", 1),
    "wearlog/people/tasks.py": ("celery", 1),
    "wearlog/reminders/channels/mail/format.py": ("django", 3),
    "wearlog/reminders/channels/mail/links.py": ("django", 2),
    "wearlog/reminders/tasks.py": ("celery", 3),
    "wearlog/runs/actions.py": ("django", 1),
    "wearlog/runs/columns.py": ("django", 2),
    "wearlog/web/log/forms/sheet.py": ("django", 3),
    "wearlog/web/machines/tables.py": ("django_tables2", 1),
    "wearlog/web/printing/pdf.py": ("weasyprint", 4),
    "wearlog/web/records/files.py": ("openpyxl", 2),
    "wearlog/web/records/filters.py": ("django_filters", 8),
    "wearlog/web/records/tables.py": ("django_tables2", 4),
    "wearlog/web/setup/forms/things.py": ("django", 2),
    "wearlog/web/setup/things.py": ("django", 2),
    "wearlog/web/site/fields.py": ("django", 3),
}
"""By module the library, as it is imported, and how often it has the words (an import of `Any` is one)."""

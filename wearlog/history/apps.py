from django.apps import AppConfig


class HistoryConfig(AppConfig):
    name = "wearlog.history"
    default_auto_field = "django.db.models.BigAutoField"

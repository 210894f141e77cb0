from django.apps import AppConfig


class CompareConfig(AppConfig):
    name = "wearlog.compare"
    default_auto_field = "django.db.models.BigAutoField"

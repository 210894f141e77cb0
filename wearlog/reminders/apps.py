from django.apps import AppConfig


class RemindersConfig(AppConfig):
    name = "wearlog.reminders"
    default_auto_field = "django.db.models.BigAutoField"

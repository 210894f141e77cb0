from django.apps import AppConfig


class LockoutConfig(AppConfig):
    name = "wearlog.lockout"
    default_auto_field = "django.db.models.BigAutoField"

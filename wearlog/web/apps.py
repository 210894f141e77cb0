from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "wearlog.web"
    default_auto_field = "django.db.models.BigAutoField"

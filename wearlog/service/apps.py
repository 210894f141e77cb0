from django.apps import AppConfig


class ServiceConfig(AppConfig):
    name = "wearlog.service"
    default_auto_field = "django.db.models.BigAutoField"

from django.apps import AppConfig


class ForecastsConfig(AppConfig):
    name = "wearlog.forecasts"
    default_auto_field = "django.db.models.BigAutoField"

from django.apps import AppConfig


class ConfigConfig(AppConfig):
    """Wiring has no tables; it is an app so that `quickstart` can be a command."""

    name = "wearlog.config"
    label = "wiring"

from django.apps import AppConfig


class ConfigConfig(AppConfig):
    """Has no tables. It is an app only so that Django finds its commands, such as `quickstart`."""

    name = "wearlog.config"
    label = "wiring"

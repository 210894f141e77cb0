from django.apps import AppConfig


class EquipmentConfig(AppConfig):
    name = "wearlog.equipment"
    default_auto_field = "django.db.models.BigAutoField"

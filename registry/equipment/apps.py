from django.apps import AppConfig


class EquipmentConfig(AppConfig):
    default_auto_field = "django.db.models.BigAutoField"
    name = "registry.equipment"
    label = "equipment"
    verbose_name = "Equipment"

from django.apps import AppConfig


class StandardsConfig(AppConfig):
    default_auto_field = "django.db.models.BigAutoField"
    name = "registry.standards"
    label = "standards"
    verbose_name = "Role standards"

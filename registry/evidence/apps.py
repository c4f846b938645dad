from django.apps import AppConfig


class EvidenceConfig(AppConfig):
    default_auto_field = "django.db.models.BigAutoField"
    name = "registry.evidence"
    label = "evidence"
    verbose_name = "Evidence"

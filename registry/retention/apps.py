from __future__ import annotations

from django.apps import AppConfig
from django.core import checks


class RetentionConfig(AppConfig):
    name = "registry.retention"
    label = "retention"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Retention"

    def ready(self) -> None:
        from registry.retention.periods import check_setting

        checks.register(check_setting)

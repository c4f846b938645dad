from __future__ import annotations

from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "registry.web"
    label = "web"

    def ready(self) -> None:
        """Signing in is watched from the start, and not only once a first request has loaded the middleware."""
        from registry.web import event_log, session_end, sign_in  # noqa: F401

"""A mail server that takes nothing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend


class Refusing(BaseEmailBackend):
    """Refuses every mail, and names the address as mail servers do."""

    def send_messages(self, messages: Sequence[EmailMessage]) -> Any:
        raise ConnectionRefusedError(f"no such box: {messages[0].recipients()}")

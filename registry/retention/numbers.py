"""Workers as commands name them."""

from __future__ import annotations

from django.core.management.base import CommandError

from registry.people.models import Worker


def worker_numbered(number: str) -> Worker:
    """The worker with a number such as ``W-000012``. Raises ``CommandError``."""
    found = Worker.objects.filter(number=number).first()
    if found is None:
        raise CommandError(f"There is no worker {number}.")
    return found

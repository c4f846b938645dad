"""Which register a database holds."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from registry.database.guards import never_changed, only_read


class Register(models.Model):
    """The one row that says which register the database holds: ``number`` is that of its data folder.

    ``demonstration`` is whether it was begun by ``manage.py demo``, whose passwords and codes are public.
    """

    guards = (never_changed, only_read)

    only = models.BooleanField(primary_key=True, default=True)
    number = models.TextField()
    demonstration = models.BooleanField()
    begun_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(only=True), name="a_database_holds_one_register"),
            models.CheckConstraint(condition=~Q(number=""), name="a_register_has_a_number"),
        ]

    def __str__(self) -> str:
        return f"register {self.number}"

"""Fields that work themselves out."""

from __future__ import annotations

from typing import Any

from django.contrib.postgres.fields import ArrayField
from django.db.models import TextField

from registry.people.likeness import Identity, keys_stored


class LookalikeKeys(ArrayField):
    """By what somebody is found whose name or day of birth looks like another's, worked out when they are stored."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**options | {"base_field": TextField(), "editable": False})

    def deconstruct(self) -> Any:
        name, path, args, options = super().deconstruct()
        return name, path, args, {key: each for key, each in options.items() if key not in ("base_field", "editable")}

    def pre_save(self, model_instance: Any, add: bool) -> Any:
        """The keys of the person as they are stored, whatever somebody set."""
        worker = model_instance
        keys = keys_stored(Identity(worker.given_name, worker.family_name, worker.date_of_birth))
        setattr(worker, self.attname, keys)
        return keys

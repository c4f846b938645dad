"""The day of an instant by the clock of a zone, reckoned in the database."""

from __future__ import annotations

from typing import Any

from django.db.models import DateField, Func


class LocalDay(Func):
    """The day of an instant: ``LocalDay(F("start"), F("site__time_zone"))``."""

    template = "((%(expressions)s)::date)"
    arg_joiner = " AT TIME ZONE "
    arity = 2

    def __init__(self, instant: Any, zone: Any) -> None:
        super().__init__(instant, zone, output_field=DateField())

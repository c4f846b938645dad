"""Until when a record must be kept: whole calendar years after its anchor, by kind and jurisdiction.

The years stand in the setting ``RETENTION``: jurisdiction, then kind, then
years; what a jurisdiction does not say is taken from its ``default`` entry.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from registry.engine.calendar import months_before

DEFAULT = "default"

ANCHORS: dict[str, Promise | str] = {
    "employment": _("its last day"),
    "language": _("the last day of employment, or its recording where that was later"),
    "hours": _("the end of the work"),
    "assessment": _("the day of the assessment"),
    "certification": _("its expiry; where it does not expire, its issue or the last day of employment"),
    "instruction": _("its completion"),
    "appointment": _("its end; where it has none, its start or the last day of employment"),
    "stand_down": _("its start or the last day of employment, whichever was later"),
    "assignment": _("the end of the work on the job"),
    "decision": _("the end of the window it was asked for"),
    "request": _("its recording"),
}
"""The kinds of records that have a period of their own, and from what day each is counted.

The worker's own row, documents and countersignatures go with the records they belong to.
"""

LAST_TO_CHANGE_DATE = timedelta(hours=12)
"""A day is over everywhere on earth twelve hours after it is over in UTC."""


@dataclass(frozen=True, slots=True)
class Rule:
    """So many calendar years for records of a kind in a jurisdiction (``default``: where none of its own is set)."""

    kind: str
    jurisdiction: str
    years: int

    def keep_until(self, anchor: date) -> date:
        """The last day on which the record must be kept, clamped at month end: 29 February leads to 28 February."""
        return months_before(anchor, -12 * self.years)


def rule_for(kind: str, jurisdiction: str) -> Rule:
    """The rule of the setting for a kind (a key of :data:`ANCHORS`) in a jurisdiction (blank: none is known)."""
    periods: Mapping[str, Mapping[str, int]] = settings.RETENTION
    if kind in periods.get(jurisdiction, {}):
        return Rule(kind, jurisdiction, periods[jurisdiction][kind])
    return Rule(kind, DEFAULT, periods[DEFAULT][kind])


def has_run_out(keep_until: date, at: datetime) -> bool:
    """Whether the last day is over at the aware instant ``at``, wherever on earth one asks."""
    return (at.astimezone(UTC) - LAST_TO_CHANGE_DATE).date() > keep_until


def check_setting(app_configs: Any, **options: Any) -> list[CheckMessage]:
    """Django's check of the setting on start-up: one message for each thing wrong with it."""
    periods = settings.RETENTION
    if not isinstance(periods, Mapping) or not all(isinstance(each, Mapping) for each in periods.values()):
        return [_wrong("RETENTION leads from each jurisdiction to a dictionary of kinds and years.", 1)]
    missing = [kind for kind in ANCHORS if kind not in periods.get(DEFAULT, {})]
    found: list[CheckMessage] = []
    if missing:
        found.append(_wrong(f"RETENTION has no default period for: {', '.join(missing)}.", 2))
    for jurisdiction, years_by_kind in periods.items():
        for kind, years in years_by_kind.items():
            where = f"RETENTION[{jurisdiction!r}][{kind!r}]"
            if kind not in ANCHORS:
                found.append(_wrong(f"{where}: there is no such kind of record; known are {', '.join(ANCHORS)}.", 3))
            if not isinstance(years, int) or isinstance(years, bool) or years < 0:
                found.append(_wrong(f"{where} is {years!r}; a period is a whole number of years, 0 or more.", 4))
    return found


def _wrong(sentence: str, number: int) -> Error:
    return Error(sentence, id=f"retention.E{number:03}")

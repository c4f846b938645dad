"""What the page of a job's notice shows, part by part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.functional import Promise
from django.utils.translation import gettext as _

from registry.language.said import authored
from registry.notices.document import days_of
from registry.notices.packet import Packet
from registry.notices.queries import Sent
from registry.notices.rules import PARTS
from registry.notices.words import (
    PARTS as PART_NAMES,
)
from registry.notices.words import (
    ChangeInWords,
    change_in_words,
    deadline_in_words,
    last_day_in_words,
    missing_in_words,
    sent_against_deadline,
)


@dataclass(frozen=True, slots=True)
class PartRow:
    """A part of the notice: what the rule asks, and what is missing of it with where it is cured."""

    part: str
    name: Promise
    asked: str
    clause: str
    why: str
    cure: str


@dataclass(frozen=True, slots=True)
class SentRow:
    """A notice that was sent, and how that stood to the last day."""

    sent: Sent
    against_deadline: str


@dataclass(frozen=True)
class NoticePage:
    """The packet as the page lays it out."""

    packet: Packet
    may_record: bool

    @property
    def zone(self) -> ZoneInfo:
        """The site's clock."""
        return ZoneInfo(self.packet.job.site.time_zone)

    @cached_property
    def deadline(self) -> str:
        """The days to the deadline in words and figures."""
        return "" if self.packet.deadline is None else deadline_in_words(self.packet.deadline)

    @property
    def sent_late(self) -> bool:
        """Whether the notice was sent when the last day was over already."""
        packet = self.packet
        if packet.sent is None or packet.deadline is None:
            return False
        return packet.sent.notice.sent_at.astimezone(self.zone).date() > packet.deadline.last_day

    @property
    def state(self) -> str:
        """The shape beside the deadline: sent and unchanged, to be told of a change, waiting, or too late."""
        if self.packet.sent is not None:
            return "held" if self.packet.needs_notice or self.sent_late else "stands"
        late = self.packet.deadline is not None and self.packet.deadline.over
        return "refused" if late else "open"

    @property
    def standing(self) -> str:
        """How a notice that was sent stands now."""
        if self.packet.needs_notice:
            return _("Sent, and changed since: tell the authority")
        if self.sent_late:
            return _("Sent after the last day")
        return _("Sent, and nothing has changed since")

    @property
    def sent_against_deadline(self) -> str:
        """How the latest sending stands to the last day."""
        packet = self.packet
        if packet.sent is None or packet.deadline is None:
            return ""
        return sent_against_deadline(packet.sent.notice, packet.deadline, self.zone)

    @property
    def last_day_to_notify(self) -> str:
        """When the last day is or was, counted from today."""
        return "" if self.packet.deadline is None else last_day_in_words(self.packet.deadline)

    @cached_property
    def parts(self) -> dict[str, PartRow]:
        """Every part by name, with what the rule asks about it."""
        missing = {each.part: missing_in_words(each) for each in self.packet.missing}
        found = {}
        for part in PARTS:
            asked = None if self.packet.rule is None else self.packet.rule.asked(part)
            why, cure = missing.get(part, ("", ""))
            found[part] = PartRow(
                part,
                PART_NAMES[part],
                authored(asked.sentence) if asked else "",
                asked.clause if asked else "",
                why,
                cure,
            )
        return found

    @property
    def missing(self) -> list[PartRow]:
        """The parts that are asked for and not there."""
        return [each for each in self.parts.values() if each.why]

    @property
    def days(self) -> int:
        """Calendar days of the work."""
        return days_of(self.packet.content)

    @property
    def last_day(self) -> date:
        """The last day of the work at the site."""
        return date.fromisoformat(self.packet.content["work"]["last_day"])

    @property
    def supervisors(self) -> Sequence[dict[str, Any]]:
        """What is said about the supervisors."""
        said: list[dict[str, Any]] = self.packet.content["supervisors"]
        return said

    @cached_property
    def changes(self) -> list[ChangeInWords]:
        """What changed since the notice was sent."""
        return [change_in_words(each, self.zone) for each in self.packet.changes]

    @cached_property
    def history(self) -> list[SentRow]:
        """What was sent, the latest first."""
        deadline = self.packet.deadline
        return [
            SentRow(each, "" if deadline is None else sent_against_deadline(each.notice, deadline, self.zone))
            for each in self.packet.history
        ]

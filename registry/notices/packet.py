"""The packet of a job as it stands: what it says, what is missing, until when, what was sent and has changed since."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from registry.crews.models import Job
from registry.database.readers import as_the_register
from registry.notices.comparison import Change, compare
from registry.notices.content import canonical_text, changed_notice, content_of, fingerprint, sha256_of
from registry.notices.files import rule_for
from registry.notices.queries import JobRecords, Sent, history_of, latest_sent, plans_of, records_of
from registry.notices.rules import Deadline, Missing, NoticeRule, deadline_of, missing_parts


@dataclass(frozen=True)
class Packet:
    """A job's notice at an instant. Without a rule nothing is missing, and there is no deadline."""

    job: Job
    rule: NoticeRule | None
    records: JobRecords
    content: dict[str, Any]
    deadline: Deadline | None
    history: list[Sent]

    @cached_property
    def text(self) -> str:
        """The content as canonical JSON."""
        return canonical_text(self.content)

    @property
    def sha256(self) -> str:
        """That of :attr:`text`."""
        return sha256_of(self.text)

    @property
    def fingerprint(self) -> str:
        """Equal as long as the packet says the same."""
        return fingerprint(self.content)

    @cached_property
    def missing(self) -> tuple[Missing, ...]:
        """What the rule asks for and is not there."""
        return missing_parts(self.content, self.rule)

    @property
    def complete(self) -> bool:
        """Whether everything the rule asks for is there."""
        return not self.missing

    @property
    def sent(self) -> Sent | None:
        """The notice the authority has."""
        return latest_sent(self.history)

    @cached_property
    def changes(self) -> tuple[Change, ...]:
        """What is not as it was when the notice was sent; nothing where none was."""
        return () if self.sent is None else compare(self.sent.content, self.content, self.rule)

    @property
    def sent_as_it_is(self) -> datetime | None:
        """When a notice was sent that says what the packet says now."""
        return None if self.sent is None or self.changes else self.sent.notice.sent_at

    @property
    def needs_notice(self) -> bool:
        """Whether the rule wants the authority to be told of a change."""
        return any(each.needs_notice for each in self.changes)


@as_the_register()
def packet_of(job: Job, *, at: datetime) -> Packet:
    """The packet at ``at``; ``job`` comes with site, employer, crane, model and maker (``access.visible_jobs``)."""
    zone = ZoneInfo(job.site.time_zone)
    rule = rule_for(jurisdiction=job.site.jurisdiction, operation=job.operation, start=job.start, zone=zone)
    plans = plans_of(job)
    records = records_of(job, plans)
    packet = Packet(
        job=job,
        rule=rule,
        records=records,
        content=content_of(job, records, rule, at=at),
        deadline=None if rule is None else deadline_of(rule, start=job.start, at=at, zone=zone),
        history=history_of(plans),
    )
    packet.content["changes"] = changed_notice(packet.sent, packet.changes)
    return packet

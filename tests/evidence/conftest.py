"""Two erectors, an assessor and what they work on, recorded by the application's role."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone

from registry.equipment.models import Crane, CraneModel, Maker, Site
from registry.equipment.services import register_crane, register_maker, register_model, register_site
from registry.evidence.models import Countersignature, HoursEntry
from registry.evidence.services import NewHours, countersign, record_hours
from registry.people.models import Employer, Worker
from registry.people.services import register_employer, register_worker

DAY = timedelta(days=1)


@dataclass(frozen=True)
class Books:
    """Hours are given as hours after ``midnight``, a local midnight of the site in the past."""

    now: datetime
    midnight: datetime
    ana: Worker
    bo: Worker
    cy: Worker
    employer: Employer
    maker: Maker
    model: CraneModel
    sibling: CraneModel
    crane: Crane
    foreign_crane: Crane
    site: Site

    def new_hours(self, start: float = 8, end: float = 12, **given: Any) -> NewHours:
        """Hours of Ana, unless ``given`` says otherwise."""
        return NewHours(
            **{
                "worker": self.ana,
                "model": self.model,
                "operation": "erection",
                "start": self.midnight + timedelta(hours=start),
                "end": self.midnight + timedelta(hours=end),
                "employer": self.employer,
                "site": self.site,
                **given,
            }
        )

    def hours(
        self, start: float = 8, end: float = 12, *, recorded_at: datetime | None = None, **given: Any
    ) -> HoursEntry:
        return record_hours(
            new=self.new_hours(start, end, **given), recorded_at=recorded_at or self.now, recorded_by=None
        )

    def sign(self, entry: HoursEntry, by: Worker, *, recorded_at: datetime | None = None) -> Countersignature:
        return countersign(entry=entry, by=by, at=entry.end, recorded_at=recorded_at or self.now, recorded_by=None)


@pytest.fixture
def books(db: None) -> Books:
    now = timezone.now()
    maker, other = (register_maker(name=name, recorded_at=now) for name in ("Alder", "Birch"))

    def model(by: Maker, designation: str) -> CraneModel:
        return register_model(
            maker=by,
            designation=designation,
            crane_class="hammerhead",
            configurations=["internal climbing"],
            recorded_at=now,
        )

    def worker(given: str, family: str) -> Worker:
        return register_worker(given_name=given, family_name=family, recorded_at=now, recorded_by=None)

    first = model(maker, "A 10")
    return Books(
        now=now,
        # Midnight in a zone seven hours behind UTC, two winter days before a whole month ago.
        midnight=datetime(2026, 1, 14, 7, tzinfo=UTC),
        ana=worker("Ana", "Lind"),
        bo=worker("Bo", "Stone"),
        cy=worker("Cy", "Marsh"),
        employer=register_employer(name="Northern Hoist", jurisdiction="US", recorded_at=now),
        maker=maker,
        model=first,
        sibling=model(maker, "A 12"),
        crane=register_crane(model=first, serial_number="1001", recorded_at=now),
        foreign_crane=register_crane(model=model(other, "B 10"), serial_number="7", recorded_at=now),
        site=register_site(
            name="Quay", time_zone="America/Denver", jurisdiction="US", working_language="en", recorded_at=now
        ),
    )


def version(subject: str) -> int:
    """How often the subject's evidence changed."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT version FROM evidence_evidenceversion WHERE subject = %s", [subject])
        found = cursor.fetchone()
    return int(found[0]) if found else 0


@pytest.fixture
def version_of() -> Any:
    return version

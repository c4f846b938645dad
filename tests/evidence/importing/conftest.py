"""An employer, a site in a zone with summer time, two models and the people of the sample files."""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

import pytest

from registry.equipment.models import CraneModel, Site
from registry.equipment.services import register_crane, register_maker, register_model, register_site
from registry.evidence.importing import ImportOptions, ImportReport, import_file
from registry.evidence.models import Document
from registry.evidence.services import attach_document
from registry.people.models import Account, Employer, Worker
from registry.people.services import employ, register_employer, register_worker

NOW = datetime(2026, 11, 20, 12, 0, tzinfo=UTC)


@dataclass
class Yard:
    """What the rows refer to."""

    employer: Employer
    site: Site
    model: CraneModel
    erector: Worker
    signer: Worker
    scan: Document

    def bring_in(
        self,
        kind: str,
        content: bytes,
        *,
        dry_run: bool = False,
        recorded_by: Account | None = None,
        **options: Any,
    ) -> ImportReport:
        """As the registrar brings it in, with the scan of the paper that the signatures stand on."""
        options.setdefault("document", self.scan)
        return import_file(
            kind,
            io.BytesIO(content),
            employer=self.employer,
            recorded_at=NOW,
            recorded_by=recorded_by,
            options=ImportOptions(**options),
            dry_run=dry_run,
        )

    def hours(self, **cells: Any) -> dict[str, Any]:
        """A good row of hours with some cells changed; ``None`` leaves the column out."""
        row = {
            "worker": self.erector.number,
            "model": "Orlo T 120",
            "site": "Harbour Yard",
            "date": "2026-03-04",
            "start": "07:00",
            "end": "15:00",
            "operation": "erection",
            "countersigner": self.signer.number,
            "countersigned on": "2026-03-31",
        } | cells
        return {header: value for header, value in row.items() if value is not None}


@pytest.fixture
def yard(db: None) -> Yard:
    employer = register_employer(name="Brisk Lifting", jurisdiction="US", recorded_at=NOW)
    maker = register_maker(name="Orlo", recorded_at=NOW)
    model = register_model(maker=maker, designation="T 120", crane_class="hammerhead", recorded_at=NOW)
    other = register_model(
        maker=maker,
        designation="T 90",
        crane_class="hammerhead",
        configurations=["Free-standing", "Tied-in"],
        recorded_at=NOW,
    )
    register_crane(model=model, serial_number="S-1", recorded_at=NOW)
    register_crane(model=other, serial_number="S-2", recorded_at=NOW)
    site = register_site(name="Harbour Yard", time_zone="America/New_York", jurisdiction="US", recorded_at=NOW)

    def person(given: str, family: str, born: date) -> Worker:
        worker = register_worker(
            given_name=given, family_name=family, date_of_birth=born, recorded_at=NOW, recorded_by=None
        )
        employ(worker=worker, employer=employer, start=date(2019, 1, 1), recorded_at=NOW, recorded_by=None)
        return worker

    return Yard(
        employer=employer,
        site=site,
        model=model,
        erector=person("Zoé", "Lind", date(1990, 5, 17)),
        signer=person("Aru", "Tamm", date(1975, 1, 2)),
        scan=attach_document(
            name="sheets.pdf",
            media_type="application/pdf",
            content=b"%PDF-1.7 sheets",
            recorded_at=NOW,
            recorded_by=None,
        ),
    )

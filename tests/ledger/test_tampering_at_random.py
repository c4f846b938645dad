"""Random events, checkpoints, verifications and tampering: ``verify`` names what was tampered with, nothing else."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from registry.evidence import services as evidence
from registry.evidence.models import HoursEntry
from registry.ledger.mirror import Mirror
from registry.ledger.models import Entry, Leaf
from registry.ledger.notes import Signer
from registry.ledger.services import make_checkpoint
from registry.ledger.verification import verify
from registry.people.models import Worker
from tests.ledger.superuser import tamper
from tests.world import World

SIGNER = Signer("registry.example/log", Ed25519PrivateKey.from_private_bytes(b"7" * 32))

# A change of one column that is open, and of one that is personal.
OPEN = {
    "evidence_hoursentry": "start = start - interval '1 hour'",
    "evidence_instruction": "completed_at = completed_at - interval '1 hour'",
    "evidence_certification": "issuer = issuer || 'x'",
    "evidence_standdown": "start = start - interval '1 hour'",
    "people_employment": "start = start + 1",
    "equipment_site": "name = name || 'x'",
    "equipment_maker": "name = name || 'x'",
}
PERSONAL = {
    "evidence_hoursentry": "issuer = issuer || 'x'",
    "evidence_certification": "number = number || 'x'",
    "evidence_standdown": "reason = reason || 'x'",
    "people_worker": "family_name = family_name || 'x'",
    "evidence_document": "name = name || 'x'",
}
BOTH = tuple(sorted(OPEN.keys() & PERSONAL.keys()))
REMOVABLE = ("evidence_hoursentry", "evidence_instruction", "evidence_certification", "evidence_standdown")
COPIABLE = ("evidence_hoursentry", "evidence_instruction", "evidence_standdown")
Record = tuple[str, int]


class Tampering(RuleBasedStateMachine):
    """Keeps a list of what it tampered with, by record; ``verify`` must find that list."""

    world: World

    def __init__(self) -> None:
        super().__init__()
        self.example = transaction.atomic()
        self.example.__enter__()
        self.folder = Path(tempfile.mkdtemp())
        self.mirror = Mirror(self.folder)
        self.mirror.trust(SIGNER.verifier_key)
        self.expected: dict[Record, str] = {}
        self.places_are_right = True
        self.minutes = 0
        self.days = 0

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.example.__exit__(None, None, None)
        shutil.rmtree(self.folder)

    @initialize()
    def begin(self) -> None:
        self.sign()
        self.look(resume=False)

    # Events

    @rule(number=st.integers(1, 3))
    def hours(self, number: int) -> None:
        for _ in range(number):
            self.days += 1
            start = (self.world.now - timedelta(days=100 + self.days)).replace(hour=15, minute=0)
            new = evidence.NewHours(
                worker=self.worker(),
                model=self.world.model,
                operation="climbing",
                start=start,
                end=start + timedelta(hours=2),
                employer=self.world.employer,
                site=self.world.site,
                countersigner=self.world.assessor,
                countersigned_at=start + timedelta(hours=9),
            )
            evidence.record_hours(new=new, recorded_at=self.world.now, recorded_by=None)

    @rule()
    def correction(self) -> None:
        untouched = HoursEntry.objects.exclude(
            pk__in=[record for kind, record in self.expected if kind == "evidence_hoursentry"]
        )
        entry = untouched.filter(superseded_by__isnull=True, supersedes__isnull=True).latest("id")
        evidence.correct(entry, recorded_at=self.world.now, recorded_by=None, end=entry.end - timedelta(minutes=30))

    @rule()
    def certificate(self) -> None:
        self.days += 1
        evidence.record_certification(
            worker=self.worker(),
            scheme="rigging",
            number=f"R-{self.minutes}-{self.days}",
            issuer="Norrland Board",
            issued=self.world.now.date(),
            recorded_at=self.world.now,
            recorded_by=None,
        )

    @rule()
    def stand_down(self) -> None:
        evidence.stand_down(
            worker=self.worker(), start=self.world.now, reason="x", recorded_at=self.world.now, recorded_by=None
        )

    @rule()
    def job_and_decision(self) -> None:
        self.days += 1
        job = self.world.job(["erector"], starts_in=3 + 10 * self.days)
        self.world.assign(job.slots.get(), self.world.assessor)

    # Checkpoints and verification

    # A checkpoint over places that are not right would be one more thing that is not.
    @precondition(lambda self: self.places_are_right)
    @rule()
    def sign(self) -> None:
        self.minutes += 1
        make_checkpoint(at=self.world.now + timedelta(minutes=self.minutes), signers=[SIGNER])

    @rule()
    def look_again(self) -> None:
        self.look(resume=False)

    @precondition(lambda self: not self.expected)
    @rule()
    def look_on(self) -> None:
        self.look(resume=True)

    def look(self, *, resume: bool) -> None:
        report = verify(mirror=self.mirror, resume=resume)
        assert report.names() == {(what, *record) for record, what in self.expected.items()}
        assert self.expected or self.mirror.size >= report.started_from

    # Tampering

    @rule(data=st.data())
    def change_an_open_column(self, data: st.DataObject) -> None:
        kind, record = self.draw(data, OPEN)
        tamper(f"UPDATE {kind} SET {OPEN[kind]} WHERE id = {record}")
        self.expected[kind, record] = "altered"

    @rule(data=st.data())
    def change_a_personal_column(self, data: st.DataObject) -> None:
        kind, record = self.draw(data, PERSONAL)
        tamper(f"UPDATE {kind} SET {PERSONAL[kind]} WHERE id = {record}")
        self.expected[kind, record] = "altered"

    @rule(data=st.data())
    def remove_a_row(self, data: st.DataObject) -> None:
        kind, record = self.draw(data, REMOVABLE)
        tamper(f"DELETE FROM {kind} WHERE id = {record}")
        self.expected[kind, record] = "removed"

    @rule(data=st.data())
    def slip_a_row_in(self, data: st.DataObject) -> None:
        kind, record = self.draw(data, COPIABLE)
        self.days += 1
        slipped = 1_000_000 + self.days
        changes = json.dumps({"id": slipped, "supersedes_id": None})
        tamper(
            f"INSERT INTO {kind} SELECT (jsonb_populate_record(known, '{changes}')).* FROM {kind} known"
            f" WHERE id = {record}"
        )
        self.expected[kind, slipped] = "inserted"

    @rule(data=st.data())
    def change_a_log_entry(self, data: st.DataObject) -> None:
        kind, record = self.draw(data, BOTH)
        tamper(f"UPDATE ledger_entry SET leaf = leaf || ' ' WHERE kind = '{kind}' AND record = {record}")
        self.expected[kind, record] = "log altered"

    @rule(data=st.data())
    def take_a_salt(self, data: st.DataObject) -> None:
        kind, record = self.draw(data, BOTH)
        tamper(f"UPDATE ledger_entry SET salt = NULL WHERE kind = '{kind}' AND record = {record}")
        self.expected[kind, record] = "log altered"

    @rule(data=st.data())
    def remove_a_row_and_its_entry(self, data: st.DataObject) -> None:
        kind, record = self.draw(data, REMOVABLE, remembered=True)
        tamper(
            f"DELETE FROM {kind} WHERE id = {record}",
            f"DELETE FROM ledger_entry WHERE kind = '{kind}' AND record = {record}",
        )
        self.expected[kind, record] = "removed"

    @rule(data=st.data())
    def swap_two_places(self, data: st.DataObject) -> None:
        self.places_are_right = False
        pair = [self.draw(data, BOTH, remembered=True)]
        self.expected[pair[0]] = "reordered"
        pair.append(self.draw(data, BOTH, remembered=True))
        self.expected[pair[1]] = "reordered"
        first, second = (Leaf.objects.get(entry__kind=kind, entry__record=record) for kind, record in pair)
        tamper("UPDATE ledger_leaf SET entry_id = -1 WHERE index = %s", values=[second.index])
        for index, other in ((first.index, second), (second.index, first)):
            tamper(
                "UPDATE ledger_leaf SET entry_id = %s, hash = %s WHERE index = %s",
                values=[other.entry_id, other.hash, index],
            )

    @rule(data=st.data())
    def change_a_place(self, data: st.DataObject) -> None:
        self.places_are_right = False
        kind, record = self.draw(data, BOTH, remembered=True)
        tamper(
            "UPDATE ledger_leaf SET hash = '\\x00' WHERE entry_id ="
            f" (SELECT id FROM ledger_entry WHERE kind = '{kind}' AND record = {record})"
        )
        self.expected[kind, record] = "log altered"

    def draw(self, data: st.DataObject, kinds: Iterable[str], *, remembered: bool = False) -> Record:
        """Some logged record that nobody touched yet; where only the mirror can name it, one that it remembers."""
        entries = Entry.objects.filter(kind__in=list(kinds))
        if remembered:
            entries = entries.filter(place__index__lt=self.mirror.size)
        known = sorted(set(entries.values_list("kind", "record")) - self.expected.keys())
        return data.draw(st.sampled_from(known))

    def worker(self) -> Worker:
        return Worker.objects.exclude(pk=self.world.assessor.pk).latest("id")


def test_verify_names_what_was_tampered_with_and_nothing_else(ruled: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Tampering, "world", ruled, raising=False)
    Tampering.TestCase.settings = settings(
        max_examples=12,
        stateful_step_count=10,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    Tampering.TestCase().runTest()

"""The superuser changes what is stored; ``verify`` names exactly what was changed, with and without a mirror.

Only the mirror, which lies outside the database, can name what a consistent change of record and log touched,
or what stood where something else stands now. Without it the signed root still shows that something did.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.utils import translation

from registry.evidence.models import HoursEntry
from registry.evidence.services import NewHours, record_hours
from registry.ledger.mirror import Mirror
from registry.ledger.models import Checkpoint, Entry, Leaf
from registry.ledger.notes import CheckpointText, Signer, signed_note
from registry.ledger.services import make_checkpoint
from registry.ledger.tree import leaf_hash, root_of
from registry.ledger.verification import Report, verify
from tests.ledger.superuser import tamper
from tests.world import World

HOURS = "evidence_hoursentry"
Verifying = Callable[[], Report]


@pytest.fixture
def checkpoint(ruled: World, signer: Signer, mirror: Mirror) -> Checkpoint:
    """Everything so far is signed, verified and remembered."""
    checkpoint = make_checkpoint(at=ruled.now, signers=[signer])
    report = verify(mirror=mirror)
    assert report.in_order, report.findings
    assert mirror.size == checkpoint.size
    return checkpoint


@pytest.fixture
def numbers(ruled: World) -> list[int]:
    """The hours entries of the world, by number."""
    return list(HoursEntry.objects.order_by("id").values_list("pk", flat=True))


def without_mirror(signer: Signer) -> Report:
    return verify(mirror=None, trusted=[signer.verifier_key])


def add_hours(world: World, number: int) -> None:
    """So many entries recorded now, for work of long ago."""
    worked = HoursEntry.objects.order_by("id")[0].worker
    for _ in range(number):
        start = (world.now - timedelta(days=100 + HoursEntry.objects.count())).replace(hour=15, minute=0)
        new = NewHours(
            worker=worked,
            model=world.model,
            operation="dismantling",
            start=start,
            end=start + timedelta(hours=2),
            employer=world.employer,
            site=world.site,
        )
        record_hours(new=new, recorded_at=world.now, recorded_by=None)


def place_of(record: int, kind: str = HOURS) -> int:
    return Leaf.objects.get(entry__kind=kind, entry__record=record).index


def make_leaf_follow_row(record: int) -> None:
    """Recompute entry and place from the row, as somebody would who knows how."""
    personal = "'{worker_id,recorded_by_id,issuer,imported_line}'"
    tamper(
        "UPDATE ledger_entry SET leaf = ledger_leaf_of(kind, (SELECT to_jsonb(known) FROM evidence_hoursentry known"
        f" WHERE id = record), salt, entered_at, {personal}) WHERE kind = '{HOURS}' AND record = {record}",
        "UPDATE ledger_entry SET leaf_hash = sha256('\\x00'::bytea || convert_to(leaf, 'UTF8'))"
        f" WHERE kind = '{HOURS}' AND record = {record}",
        "UPDATE ledger_leaf SET hash = entry.leaf_hash FROM ledger_entry entry"
        f" WHERE entry.id = entry_id AND kind = '{HOURS}' AND record = {record}",
    )


@pytest.mark.parametrize("remembers", [True, False])
class TestNamedWithAndWithoutMirror:
    """What the log alone can name."""

    @pytest.fixture
    def found(self, remembers: bool, mirror: Mirror, signer: Signer, checkpoint: Checkpoint) -> Verifying:
        return lambda: verify(mirror=mirror) if remembers else without_mirror(signer)

    def test_a_changed_field(self, found: Verifying, numbers: list[int]) -> None:
        tamper(f"UPDATE {HOURS} SET operation = 'climbing' WHERE id = {numbers[3]}")
        report = found()
        assert report.names() == {("altered", HOURS, numbers[3])}
        assert report.findings[0].detail == 'operation was "dismantling", is "climbing"'

    def test_a_changed_field_in_the_language_in_force(self, found: Verifying, numbers: list[int]) -> None:
        tamper(f"UPDATE {HOURS} SET operation = 'climbing' WHERE id = {numbers[3]}")
        with translation.override("fr"):
            (finding,) = found().findings
        assert finding.detail == 'operation valait "dismantling", vaut "climbing"'
        assert re.fullmatch(
            r"(en ordre au|signé d’abord par le) point de contrôle de \d+ feuilles, .* UTC", finding.since
        )

    def test_a_changed_personal_field(self, found: Verifying, ruled: World) -> None:
        tamper(f"UPDATE people_worker SET family_name = 'Other' WHERE id = {ruled.assessor.pk}")
        report = found()
        assert report.names() == {("altered", "people_worker", ruled.assessor.pk)}
        assert "personal column" in report.findings[0].detail
        assert "Other" not in str(report.findings[0])

    def test_a_deleted_row(self, found: Verifying, numbers: list[int]) -> None:
        tamper(f"DELETE FROM {HOURS} WHERE id = {numbers[0]}")
        assert found().names() == {("removed", HOURS, numbers[0])}

    def test_a_row_slipped_in_without_triggers(self, found: Verifying, numbers: list[int]) -> None:
        tamper(_copy(numbers[2], 1_000_001))
        assert found().names() == {("inserted", HOURS, 1_000_001)}

    def test_the_contents_of_two_rows_swapped(self, found: Verifying, numbers: list[int]) -> None:
        first, second = numbers[1], numbers[4]
        swap = 'SET start = that.start, "end" = that."end", recorded_at = that.recorded_at'
        pairs = f"(({first}, {second}), ({second}, {first}))"
        tamper(f"UPDATE {HOURS} this {swap} FROM {HOURS} that WHERE (this.id, that.id) IN {pairs}")
        assert found().names() == {("altered", HOURS, first), ("altered", HOURS, second)}

    def test_a_changed_log_entry(self, found: Verifying, numbers: list[int]) -> None:
        tamper(
            "UPDATE ledger_entry SET leaf = replace(leaf, 'dismantling', 'climbing')"
            f" WHERE kind = '{HOURS}' AND record = {numbers[5]}"
        )
        assert found().names() == {("log altered", HOURS, numbers[5])}

    def test_a_salt_taken_away(self, found: Verifying, numbers: list[int]) -> None:
        tamper(f"UPDATE ledger_entry SET salt = NULL WHERE kind = '{HOURS}' AND record = {numbers[5]}")
        assert found().names() == {("log altered", HOURS, numbers[5])}

    def test_an_entry_taken_out_of_its_place(
        self, found: Verifying, ruled: World, signer: Signer, numbers: list[int]
    ) -> None:
        add_hours(ruled, 1)
        last = HoursEntry.objects.latest("id").pk
        tamper(
            f"DELETE FROM ledger_pending USING ledger_entry WHERE id = entry_id AND record = {last}"
            f" AND kind = '{HOURS}'"
        )
        assert found().names() == {("log altered", HOURS, last)}


def _copy(record: int, to: int) -> str:
    return (
        f"INSERT INTO {HOURS} SELECT (jsonb_populate_record(known, jsonb_build_object('id', {to}))).*"
        f" FROM {HOURS} known WHERE id = {record}"
    )


def test_a_back_dated_row_that_went_through_the_log(
    ruled: World, signer: Signer, mirror: Mirror, checkpoint: Checkpoint, numbers: list[int]
) -> None:
    """Its place in the log betrays it: a checkpoint made after its date does not cover it."""
    tamper(_copy(numbers[2], 1_000_001), triggers=True)
    make_checkpoint(at=ruled.now + timedelta(minutes=5), signers=[signer])
    for report in (verify(mirror=mirror), without_mirror(signer)):
        assert report.names() == {("back-dated", HOURS, 1_000_001)}


def test_two_places_swapped(
    ruled: World, signer: Signer, mirror: Mirror, checkpoint: Checkpoint, numbers: list[int]
) -> None:
    first, second = place_of(numbers[0]), place_of(numbers[3])
    tamper(
        "UPDATE ledger_leaf this SET entry_id = -entry_id WHERE index IN (%s, %s)",
        values=[first, second],
    )
    tamper(
        "UPDATE ledger_leaf this SET entry_id = entry.id, hash = entry.leaf_hash FROM ledger_entry entry"
        " WHERE (this.index, entry.record) IN ((%s, %s), (%s, %s)) AND entry.kind = 'evidence_hoursentry'",
        values=[first, numbers[3], second, numbers[0]],
    )
    assert verify(mirror=mirror).names() == {("reordered", HOURS, numbers[0]), ("reordered", HOURS, numbers[3])}
    assert without_mirror(signer).names() == {("checkpoint", f"checkpoint of {checkpoint.size} leaves", None)}


def test_row_and_log_changed_alike(signer: Signer, mirror: Mirror, checkpoint: Checkpoint, numbers: list[int]) -> None:
    tamper(f"UPDATE {HOURS} SET operation = 'climbing' WHERE id = {numbers[3]}")
    make_leaf_follow_row(numbers[3])
    assert verify(mirror=mirror).names() == {("altered", HOURS, numbers[3])}
    assert without_mirror(signer).names() == {("checkpoint", f"checkpoint of {checkpoint.size} leaves", None)}


def test_row_and_entry_removed(signer: Signer, mirror: Mirror, checkpoint: Checkpoint, numbers: list[int]) -> None:
    place = place_of(numbers[3])
    tamper(
        f"DELETE FROM {HOURS} WHERE id = {numbers[3]}",
        f"DELETE FROM ledger_entry WHERE kind = '{HOURS}' AND record = {numbers[3]}",
    )
    assert verify(mirror=mirror).names() == {("removed", HOURS, numbers[3])}
    assert without_mirror(signer).names() == {("log altered", "leaf", place)}


def test_row_entry_and_place_removed(
    signer: Signer, mirror: Mirror, checkpoint: Checkpoint, numbers: list[int]
) -> None:
    place = place_of(numbers[3])
    tamper(
        f"DELETE FROM ledger_leaf WHERE index = {place}",
        f"DELETE FROM {HOURS} WHERE id = {numbers[3]}",
        f"DELETE FROM ledger_entry WHERE kind = '{HOURS}' AND record = {numbers[3]}",
    )
    assert verify(mirror=mirror).names() == {("removed", HOURS, numbers[3])}
    assert without_mirror(signer).names() == {
        ("log altered", "leaf", place),
        ("checkpoint", f"checkpoint of {checkpoint.size} leaves", None),
    }


def test_the_tail_cut_off_with_checkpoints_and_records(
    ruled: World, signer: Signer, mirror: Mirror, checkpoint: Checkpoint
) -> None:
    """Only the mirror, or a checkpoint kept elsewhere, remembers that there was more."""
    add_hours(ruled, 2)
    later = make_checkpoint(at=ruled.now + timedelta(minutes=5), signers=[signer])
    assert verify(mirror=mirror).in_order
    lost = list(Entry.objects.filter(place__index__gte=checkpoint.size).values_list("kind", "record"))
    tamper(
        *(f"DELETE FROM {kind} WHERE id = {record}" for kind, record in lost),
        f"DELETE FROM ledger_checkpoint WHERE size = {later.size}",
        f"DELETE FROM ledger_entry WHERE id IN (SELECT entry_id FROM ledger_leaf WHERE index >= {checkpoint.size})",
        f"DELETE FROM ledger_leaf WHERE index >= {checkpoint.size}",
    )
    assert verify(mirror=mirror).names() == {("removed", kind, record) for kind, record in lost}
    assert without_mirror(signer).in_order
    kept = verify(mirror=None, trusted=[signer.verifier_key], kept=[later.note])
    assert kept.names() == {("checkpoint", f"checkpoint of {later.size} leaves", None)}


def test_the_whole_log_made_anew_with_another_key(
    ruled: World, signer: Signer, mirror: Mirror, checkpoint: Checkpoint, numbers: list[int]
) -> None:
    """Whoever has no trusted key at all believes the new log; whoever has one does not."""
    tamper(f"UPDATE {HOURS} SET operation = 'climbing' WHERE id = {numbers[3]}")
    make_leaf_follow_row(numbers[3])
    forger = Signer(signer.name, Ed25519PrivateKey.from_private_bytes(b"9" * 32))
    leaves = Entry.objects.filter(place__index__lt=checkpoint.size).order_by("place__index")
    root = root_of(leaf_hash(each.leaf.encode()) for each in leaves)
    note = signed_note(str(CheckpointText(forger.name, checkpoint.size, root, ruled.now)), [forger])
    tamper("UPDATE ledger_checkpoint SET root = %s, note = %s WHERE size = %s", values=[root, note, checkpoint.size])
    name = ("checkpoint", f"checkpoint of {checkpoint.size} leaves", None)
    assert verify(mirror=mirror).names() == {name, ("altered", HOURS, numbers[3])}
    assert without_mirror(signer).names() == {name}
    assert verify(mirror=None, trusted=[forger.verifier_key]).in_order
    kept = verify(mirror=None, trusted=[forger.verifier_key, signer.verifier_key], kept=[checkpoint.note])
    assert kept.names() == {name}


def test_says_since_which_checkpoint(ruled: World, mirror: Mirror, checkpoint: Checkpoint, numbers: list[int]) -> None:
    tamper(f"UPDATE {HOURS} SET operation = 'climbing' WHERE id = {numbers[3]}")
    (finding,) = verify(mirror=mirror).findings
    assert finding.since == f"in order at the checkpoint of {checkpoint.size} leaves, {ruled.now:%Y-%m-%d %H:%M} UTC"
    assert finding.name == f"{HOURS} {numbers[3]}"


def test_resuming_sees_what_came_after_and_a_whole_run_sees_all(
    ruled: World, signer: Signer, mirror: Mirror, checkpoint: Checkpoint, numbers: list[int]
) -> None:
    add_hours(ruled, 2)
    later = make_checkpoint(at=ruled.now + timedelta(minutes=5), signers=[signer])
    report = verify(mirror=mirror, resume=True)
    assert report.in_order
    assert (report.started_from, mirror.size) == (checkpoint.size, later.size)

    add_hours(ruled, 2)
    make_checkpoint(at=ruled.now + timedelta(minutes=10), signers=[signer])
    new = HoursEntry.objects.latest("id").pk
    tamper(f"UPDATE {HOURS} SET operation = 'climbing' WHERE id IN ({numbers[0]}, {new})")
    resumed = verify(mirror=mirror, resume=True)
    assert resumed.names() == {("altered", HOURS, new)}
    # What was not in order is not remembered as if it were.
    assert mirror.size == later.size
    assert verify(mirror=mirror).names() == {("altered", HOURS, new), ("altered", HOURS, numbers[0])}


@pytest.mark.parametrize("change", ["standing = 'held'", "role = 'rigger'"])
def test_a_changed_state_beside_the_records(ruled: World, mirror: Mirror, checkpoint: Checkpoint, change: str) -> None:
    """What is true of an assignment now is kept beside its records, and has to agree with them."""
    oda = HoursEntry.objects.order_by("id")[0].worker
    outcome = ruled.assign(ruled.job(["erector"]).slots.get(), oda)
    assert outcome.assignment is not None
    assert verify(mirror=mirror).in_order
    tamper(f"UPDATE crews_assignmentstate SET {change} WHERE assignment_id = {outcome.assignment.pk}")
    assert verify(mirror=mirror).names() == {("derived", "crews_assignmentstate of assignment", outcome.assignment.pk)}

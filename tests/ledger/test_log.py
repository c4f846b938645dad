"""What the database does with every new record, and what checkpoints say about it."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import psycopg
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.apps import apps
from django.db import DatabaseError, connection, connections, transaction

from registry.database.errors import constraint_of
from registry.equipment import services as equipment
from registry.equipment.models import Maker
from registry.evidence import services as evidence
from registry.ledger import queries, services, store
from registry.ledger.canonical import leaf_of
from registry.ledger.kinds import BY_TABLE, KINDS
from registry.ledger.models import Checkpoint, Entry, Leaf, Node, Pending, SigningKey
from registry.ledger.notes import CheckpointText, Note, Signer
from registry.ledger.services import make_checkpoint, place_entries
from registry.ledger.tree import leaf_hash, root_of, verify_consistency, verify_inclusion
from registry.ledger.verification import verify
from tests.world import World

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 4, 5, 6, tzinfo=UTC)
TRIGGERS = """
SELECT tgrelid::regclass::text, tgargs FROM pg_trigger
JOIN pg_proc ON pg_proc.oid = tgfoid
WHERE proname = 'ledger_append' AND tgenabled = 'O'
"""
# Append-only tables whose rows are no events: the log itself, and what triggers derive from logged rows.
NOT_LOGGED = {
    "ledger_entry",
    "ledger_leaf",
    "ledger_node",
    "ledger_checkpoint",
}


def makers(number: int, name: str = "Brandvold") -> None:
    """So many records, quickly."""
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO equipment_maker (name, recorded_at) SELECT %s || n, %s FROM generate_series(1, %s) n",
            [name, NOW, number],
        )


def all_leaves() -> list[bytes]:
    return [leaf_hash(each.encode()) for each in Entry.objects.order_by("place__index").values_list("leaf", flat=True)]


class TestWhatIsLogged:
    def test_every_kind_has_its_trigger_with_exactly_its_columns(self) -> None:
        with connection.cursor() as cursor:
            cursor.execute(TRIGGERS)
            found = {table: bytes(arguments).rstrip(b"\0").split(b"\0") for table, arguments in cursor.fetchall()}
        assert found.keys() == BY_TABLE.keys()
        for kind in KINDS:
            personal, left_out = (set(each.decode().strip("{}").split(",")) - {""} for each in found[kind.table])
            assert (personal, left_out) == (set(kind.personal), set(kind.left_out)), kind.table

    def test_the_columns_named_are_columns(self) -> None:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT table_name, column_name FROM information_schema.columns WHERE table_schema = 'public'"
            )
            columns = set(cursor.fetchall())
        named = {(kind.table, each) for kind in KINDS for each in (*kind.personal, *kind.left_out)}
        assert named <= columns

    def test_every_table_whose_rows_never_change_is_logged(self) -> None:
        """What the application may write and never change is a record, and every record is an event."""
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT relname FROM pg_class WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace"
                " AND has_table_privilege(oid, 'INSERT') AND NOT has_table_privilege(oid, 'UPDATE')"
                " AND NOT has_any_column_privilege(oid, 'UPDATE') AND NOT has_table_privilege(oid, 'DELETE')"
            )
            append_only = {name for (name,) in cursor.fetchall()}
        assert "evidence_hoursentry" in append_only
        domains = {"people", "equipment", "evidence", "standards", "crews", "ledger"}
        records = {
            model._meta.db_table
            for model in apps.get_models(include_auto_created=True)
            if model._meta.app_label in domains
        }
        assert (append_only & records) - NOT_LOGGED - BY_TABLE.keys() == set()

    def test_a_record_and_its_entry_come_together(self) -> None:
        maker = equipment.register_maker(name="Brandvold", recorded_at=NOW)
        entry = Entry.objects.get(kind="equipment_maker", record=maker.pk)
        row = queries.stored_rows(BY_TABLE["equipment_maker"], [maker.pk])[maker.pk]
        said = json.loads(entry.leaf)
        assert entry.leaf == leaf_of(BY_TABLE["equipment_maker"], row, bytes(entry.salt or b""), said["entered_at"])
        assert bytes(entry.leaf_hash) == leaf_hash(entry.leaf.encode())
        assert Pending.objects.filter(entry=entry).exists()

    def test_and_vanish_together(self) -> None:
        with transaction.atomic():
            maker = equipment.register_maker(name="Brandvold", recorded_at=NOW)
            transaction.set_rollback(True)
        assert not Maker.objects.filter(pk=maker.pk).exists()
        assert not Entry.objects.filter(kind="equipment_maker", record=maker.pk).exists()

    def test_equal_records_have_unlike_commitments(self, world: World) -> None:
        barred = [
            evidence.stand_down(
                worker=world.assessor, start=world.now, reason="x", recorded_at=world.now, recorded_by=None
            ).pk
            for _ in range(2)
        ]
        entries = Entry.objects.filter(kind="evidence_standdown", record__in=barred)
        assert len({json.loads(each.leaf)["personal"] for each in entries}) == 2
        assert len({bytes(each.salt or b"") for each in entries}) == 2

    def test_no_leaf_tells_anything_personal(self, world: World) -> None:
        worker = world.worker("Zephyrine", "Quistgaard")
        world.make_erector(worker, days=3)
        evidence.stand_down(
            worker=worker, start=world.now, reason="Unclipped aloft", recorded_at=world.now, recorded_by=None
        )
        world.assign(world.job(["erector"]).slots.get(), worker)
        words = ["Zephyrine", "Quistgaard", "1985-05-05", "Unclipped", f"E-{worker.pk}", "Ines", "Okoro", worker.number]
        leaves = list(Entry.objects.values_list("leaf", flat=True))
        assert [word for word in words if any(f"{word}" in leaf for leaf in leaves)] == []
        for leaf in map(json.loads, leaves):
            columns = set(leaf["open"])
            assert not columns & set(BY_TABLE[leaf["kind"]].personal)
            assert not {each for each in columns if each.endswith(("worker_id", "recorded_by_id"))}, leaf["kind"]


class TestWhatTheApplicationMayDo:
    @pytest.mark.parametrize("table", ["entry", "leaf", "node", "checkpoint", "signingkey", "erasure", "pending"])
    @pytest.mark.parametrize("verb", ["UPDATE ledger_{} SET id = id", "DELETE FROM ledger_{}", "TRUNCATE ledger_{}"])
    def test_it_changes_nothing(self, table: str, verb: str) -> None:
        column = {"leaf": "index", "pending": "entry_id"}.get(table, "id")
        with (
            pytest.raises(DatabaseError, match="permission denied"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(verb.format(table).replace("SET id = id", f"SET {column} = {column}"))

    @pytest.mark.parametrize(
        "statement",
        [
            "INSERT INTO ledger_entry (kind, record, entered_at, leaf, leaf_hash) VALUES ('x', 1, now(), '', '')",
            "INSERT INTO ledger_leaf (index, entry_id, hash) VALUES (0, 1, '')",
            "INSERT INTO ledger_pending (entry_id) VALUES (1)",
            "INSERT INTO ledger_erasure (subject, ground, entries, erased_at) VALUES ('x', 'y', '{}', now())",
            "SELECT ledger_erase(1)",
            "CALL ledger_log('people_employer', '{}', '{}')",
            "ALTER TABLE people_employer DISABLE TRIGGER ledger_append",
            "DROP TRIGGER ledger_append ON people_employer",
            "SET session_replication_role = replica",
        ],
    )
    def test_nor_puts_anything_in_by_hand(self, statement: str) -> None:
        refused = pytest.raises(DatabaseError, match="permission denied|must be owner")
        with refused, transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)


class TestCheckpoints:
    def test_the_root_is_that_of_all_leaves(self, signer: Signer) -> None:
        makers(40)
        made = make_checkpoint(at=NOW, signers=[signer])
        said = CheckpointText.verified(made.note, [signer.verifier_key])
        assert said == CheckpointText(signer.name, made.size, root_of(all_leaves()), NOW)
        assert not Pending.objects.exists()

    def test_nothing_new_makes_no_new_checkpoint(self, signer: Signer) -> None:
        first = make_checkpoint(at=NOW, signers=[signer])
        assert make_checkpoint(at=NOW + timedelta(hours=1), signers=[signer]) == first

    def test_it_only_goes_on(self, signer: Signer) -> None:
        made = make_checkpoint(at=NOW, signers=[signer])
        for size in (made.size, made.size - 1, made.size + 1):
            with pytest.raises(DatabaseError) as refused, transaction.atomic():
                Checkpoint.objects.create(size=size, root=made.root, note=made.note, made_at=NOW)
            assert constraint_of(refused.value) == "checkpoint_goes_on_from_the_one_before"

    def test_proofs_lead_to_the_signed_roots(self, signer: Signer) -> None:
        first = make_checkpoint(at=NOW, signers=[signer])
        makers(23)
        second = make_checkpoint(at=NOW + timedelta(hours=1), signers=[signer])
        growth = queries.consistency_proof(first, second)
        verify_consistency(first.size, second.size, bytes(first.root), bytes(second.root), growth.path)
        proof = queries.inclusion_proof("equipment_maker", Maker.objects.latest("id").pk)
        leaf = leaf_hash(proof.leaf.encode())
        verify_inclusion(proof.index, second.size, leaf, proof.path, bytes(second.root))

    def test_what_is_not_signed_yet_cannot_be_proved(self, signer: Signer) -> None:
        make_checkpoint(at=NOW, signers=[signer])
        makers(1)
        with pytest.raises(queries.NotInTheLog, match="not under a checkpoint yet"):
            queries.inclusion_proof("equipment_maker", Maker.objects.latest("id").pk)
        with pytest.raises(queries.NotInTheLog, match="There is no equipment_maker"):
            queries.inclusion_proof("equipment_maker", 1_000_000)

    def test_a_key_hands_over_in_a_checkpoint_that_both_sign(self, signer: Signer) -> None:
        make_checkpoint(at=NOW, signers=[signer])
        following = Signer(signer.name, Ed25519PrivateKey.from_private_bytes(b"8" * 32))
        made = make_checkpoint(at=NOW + timedelta(days=1), signers=[following, signer])
        keys = [signer.verifier_key, following.verifier_key]
        assert Note.parse(made.note).signed_by(keys) == keys[::-1]
        assert [each.verifier_key for each in SigningKey.objects.order_by("id")] == [str(each) for each in keys]
        # The new key is itself in the log that it signs.
        proof = queries.inclusion_proof("ledger_signingkey", SigningKey.objects.latest("id").pk)
        assert str(following.verifier_key) in proof.leaf

    def test_kept_nodes_lead_to_the_same_roots(self, signer: Signer) -> None:
        makers(600)
        made = make_checkpoint(at=NOW, signers=[signer])
        assert Node.objects.filter(level=8).count() == made.size // 256 >= 2
        leaves = all_leaves()
        assert bytes(made.root) == root_of(leaves)
        makers(300, "Ulvarra")
        after = make_checkpoint(at=NOW + timedelta(hours=1), signers=[signer])
        leaves = all_leaves()
        assert bytes(after.root) == root_of(leaves)
        for index in (0, 255, 256, 511, 512, after.size - 1):
            record = Entry.objects.get(place__index=index)
            proof = queries.inclusion_proof(record.kind, record.record)
            verify_inclusion(index, after.size, leaves[index], proof.path, bytes(after.root))
        growth = queries.consistency_proof(made, after)
        verify_consistency(made.size, after.size, bytes(made.root), bytes(after.root), growth.path)

    def test_nodes_of_nodes(self, signer: Signer, monkeypatch: pytest.MonkeyPatch) -> None:
        """As beyond 65,536 leaves, with subtrees of 4 and 16 and 64 in place of 256 and 65,536."""
        monkeypatch.setattr(store, "STEP", 2)
        makers(150)
        made = make_checkpoint(at=NOW, signers=[signer])
        assert set(Node.objects.values_list("level", flat=True)) == {2, 4, 6}
        leaves = all_leaves()
        assert bytes(made.root) == root_of(leaves)
        for first, end in ((0, 64), (64, 128), (0, 128), (128, made.size), (48, 64), (0, made.size)):
            assert store.Hashes()(first, end) == root_of(leaves[first:end])

    def test_placing_goes_batch_by_batch(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(services, "BATCH", 7)
        makers(30)
        waiting = Pending.objects.count()
        assert place_entries() == waiting
        indexes = list(Leaf.objects.order_by("index").values_list("index", flat=True))
        assert indexes == list(range(len(indexes)))


def _application() -> psycopg.Connection[tuple[object, ...]]:
    return psycopg.connect(**connections["default"].get_connection_params())


SITE = (
    "INSERT INTO equipment_site (name, address, time_zone, jurisdiction, working_language, recorded_at)"
    " VALUES (%s, '', 'UTC', 'US', 'en', now()) RETURNING id"
)


@pytest.mark.django_db(transaction=True)
class TestManyWritersAtOnce:
    @pytest.fixture
    def writers(self) -> Iterator[list[psycopg.Connection[tuple[object, ...]]]]:
        made = [_application() for _ in range(8)]
        yield made
        for each in made:
            each.close()

    def test_no_writer_waits_for_another(
        self, writers: list[psycopg.Connection[tuple[object, ...]]], signer: Signer
    ) -> None:
        """All eight have written; they commit last come, first served, with a checkpoint between."""
        records = []
        for number, writer in enumerate(writers):
            writer.execute("SET statement_timeout = '5s'")
            (found,) = writer.execute(SITE, [f"Site {number}"]).fetchone() or ()
            records.append(found)
        for writer in writers[:3:-1]:
            writer.commit()
        made = make_checkpoint(at=NOW, signers=[signer])
        assert self._placed() == records[4:]
        for writer in writers[3::-1]:
            writer.commit()
        after = make_checkpoint(at=NOW + timedelta(hours=1), signers=[signer])
        assert set(self._placed()) == set(records)
        growth = queries.consistency_proof(made, after)
        verify_consistency(made.size, after.size, bytes(made.root), bytes(after.root), growth.path)

    def test_placing_while_writers_write_loses_none(self, signer: Signer) -> None:
        done = threading.Event()
        failed: list[BaseException] = []

        def write(number: int) -> None:
            try:
                with _application() as writer:
                    for each in range(25):
                        writer.execute(SITE, [f"Site {number}-{each}"])
                        if each % 5 == 4:
                            writer.rollback()
                        else:
                            writer.commit()
            except BaseException as error:
                failed.append(error)

        def sign() -> None:
            try:
                while not done.is_set():
                    make_checkpoint(at=NOW, signers=[signer])
            except BaseException as error:
                failed.append(error)
            finally:
                connections.close_all()

        threads = [threading.Thread(target=write, args=(number,)) for number in range(8)]
        signing = [threading.Thread(target=sign) for _ in range(2)]
        for thread in (*threads, *signing):
            thread.start()
        for thread in threads:
            thread.join(timeout=60)
        done.set()
        for thread in signing:
            thread.join(timeout=60)
        assert failed == []
        last = make_checkpoint(at=NOW, signers=[signer])
        assert len(self._placed()) == 8 * 20
        assert list(Leaf.objects.order_by("index").values_list("index", flat=True)) == list(range(last.size))
        report = verify(mirror=None, trusted=[signer.verifier_key])
        assert report.in_order, report.findings

    def _placed(self) -> list[int]:
        return list(
            Entry.objects.filter(kind="equipment_site", place__isnull=False)
            .order_by("record")
            .values_list("record", flat=True)
        )

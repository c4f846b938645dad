"""Recompute the log from the tables and name whatever is not as it was.

Leaf by leaf, in batches of constant size: what the row says now, what the entry
says, what this machine remembers (:mod:`registry.ledger.mirror`), and at every
checkpoint the root.
"""

from __future__ import annotations

import json
import tempfile
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any, Literal, NamedTuple

import psycopg
from django.db import connection, transaction
from django.utils.translation import gettext as _
from psycopg import sql
from psycopg.rows import args_row

from registry.database.limits import take_time
from registry.ledger.canonical import leaf_of
from registry.ledger.kinds import BY_TABLE, KINDS, Kind
from registry.ledger.mirror import Mirror, Remembered
from registry.ledger.models import Checkpoint, Entry, Erasure
from registry.ledger.notes import CheckpointText, NoteRefused, VerifierKey
from registry.ledger.queries import recorded_keys, size_of_the_log, stored_rows
from registry.ledger.tree import EMPTY, Frontier

BATCH = 2_048
LATE = timedelta(hours=1)
"""A record that claims to have been recorded so long before a checkpoint that lacks it is back-dated."""

What = Literal["altered", "removed", "inserted", "reordered", "back-dated", "log altered", "checkpoint", "derived"]

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that is not as it was; ``kind`` and ``record`` name the record where it is one.

    ``since`` is the checkpoint at which it still was in order, in words.
    """

    what: What
    kind: str
    record: int | None
    detail: str
    index: int | None = None
    since: str = ""

    @property
    def name(self) -> str:
        """``evidence_hoursentry 12``; for a finding about no record, its kind alone."""
        return self.kind if self.record is None else f"{self.kind} {self.record}"

    def __str__(self) -> str:
        since = f" ({self.since})" if self.since else ""
        return f"{self.what}: {self.name}: {self.detail}{since}"


@dataclass(slots=True)
class Report:
    """What :func:`verify` found; ``notes`` are circumstances, not findings."""

    leaves: int = 0
    pending: int = 0
    checkpoints: int = 0
    started_from: int = 0
    findings: list[Finding] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def in_order(self) -> bool:
        """Whether nothing was found."""
        return not self.findings

    def names(self) -> set[tuple[str, str, int | None]]:
        """What was found, without the words."""
        return {(each.what, each.kind, each.record) for each in self.findings}


def verify(
    *,
    mirror: Mirror | None,
    trusted: Sequence[VerifierKey] = (),
    kept: Sequence[str] = (),
    resume: bool = False,
    progress: Progress = lambda done, whole: None,
) -> Report:
    """Verify the log against the tables, and add what was in order to the mirror.

    ``trusted`` keys count beside the mirror's; ``kept`` are checkpoints that
    somebody kept elsewhere. With ``resume`` the rows behind leaves that the
    mirror remembers are not looked at again. Never raises for what it finds.
    """
    with _one_moment():
        return _Verification(mirror, trusted, kept, progress).run(resume=resume)


@contextmanager
def _one_moment() -> Iterator[None]:
    """All reads see the same moment, unless a transaction of the caller's already decides that.

    A log of many years takes longer to read than any request may.
    """
    outermost = not connection.in_atomic_block
    with transaction.atomic():
        if outermost:
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        take_time()
        yield


@contextmanager
def _reading_by_index() -> Iterator[None]:
    """A batch is a few thousand look-ups; a planner without fresh statistics would read whole tables for it."""
    settings = ("enable_seqscan", "enable_hashjoin", "enable_mergejoin")
    with connection.cursor() as cursor:
        for each in settings:
            cursor.execute(f"SET LOCAL {each} = off")
        yield
        for each in settings:
            cursor.execute(f"SET LOCAL {each} TO DEFAULT")


class _Place(NamedTuple):
    """One leaf as the log's tables hold it."""

    at: int
    hash: bytes
    kind: str
    record: int
    salt: bytes | None
    leaf: str
    entered_at: str


class _Verification:
    def __init__(
        self, mirror: Mirror | None, trusted: Sequence[VerifierKey], kept: Sequence[str], progress: Progress
    ) -> None:
        self.mirror = mirror
        self.keys = [*(mirror.trusted_keys if mirror else []), *trusted]
        self.kept = kept
        self.progress = progress
        self.report = Report()
        self.remembered = mirror.size if mirror else 0
        self.last_good: CheckpointText | None = None
        self.erased = _erased_entries()
        self.checkpoints: list[tuple[Checkpoint, CheckpointText | None]] = []
        self.misplaced: dict[int, tuple[Remembered, _Place | None]] = {}
        self.met: list[int] = []
        # On disk, so that memory does not grow with the log.
        self.new = tempfile.TemporaryFile()  # noqa: SIM115 (closed with the verification)
        self.dated: tuple[list[int], list[datetime]] = ([], [])

    def run(self, *, resume: bool) -> Report:
        self._read_checkpoints()
        report, tree = self.report, Frontier()
        report.leaves = self.size = max(size_of_the_log(), self.remembered)
        report.pending = Entry.objects.filter(pending__isnull=False, place__isnull=True).count()
        report.checkpoints = len(self.checkpoints)
        roots = self._roots_to_meet()
        if resume and self.mirror and self.last_good:
            report.started_from = self.last_good.size
            for each in self.mirror.leaves(0, report.started_from):
                tree.append(each.hash)
                self._meet_roots(roots, tree)
        good = len(report.findings)
        with _reading_by_index():
            for first in range(tree.size, self.size, BATCH):
                for hashed in self._batch(first, min(first + BATCH, self.size)):
                    tree.append(hashed)
                    self._meet_roots(roots, tree)
                self.progress(tree.size, self.size)
        for size, (_root, why) in sorted(roots.items()):
            text = _("%(why)s: it has %(leaves)s leaves") % {"why": why, "leaves": tree.size}
            self._find("checkpoint", _checkpoint_of(size), None, text)
        self._find_misplaced()
        self._pending()
        self._strays()
        self._derived()
        if self.mirror and len(report.findings) == good and self.checkpoints:
            self._remember(tree.size)
        self.new.close()
        return report

    # Checkpoints

    def _read_checkpoints(self) -> None:
        if not self.keys:
            self.report.notes.append(
                _("No trusted key is known here, so signatures are held to the keys in the database alone.")
            )
            self.keys = recorded_keys()
        previous: CheckpointText | None = None
        for each in Checkpoint.objects.order_by("size"):
            try:
                said = CheckpointText.verified(each.note, self.keys)
            except NoteRefused as error:
                self._find("checkpoint", _checkpoint_of(each.size), None, str(error))
                self.checkpoints.append((each, None))
                continue
            if (said.size, said.root) != (each.size, bytes(each.root)):
                text = _("its columns differ from what is signed")
                self._find("checkpoint", _checkpoint_of(each.size), None, text)
            if previous and previous.signed_at and said.signed_at and said.signed_at < previous.signed_at:
                text = _("signed before the one before it")
                self._find("checkpoint", _checkpoint_of(each.size), None, text)
            self.checkpoints.append((each, said))
            if said.signed_at is not None:
                sizes, signed = self.dated
                sizes.append(said.size)
                signed.append(max([said.signed_at, *signed[-1:]]))
            previous = said
        if self.mirror and self.mirror.checkpoint:
            self.last_good = CheckpointText.parse(self.mirror.checkpoint.rpartition("\n\n")[0] + "\n")

    def _roots_to_meet(self) -> dict[int, tuple[bytes, str]]:
        """Size to root and what to say where it is not met: stored, remembered and kept checkpoints."""
        roots: dict[int, tuple[bytes, str]] = {}
        for each, said in self.checkpoints:
            if said is not None:
                roots[each.size] = (said.root, _("the log's leaves lead to another root than the one signed"))
        if self.last_good:
            roots[self.last_good.size] = (
                self.last_good.root,
                _("verified here before, and the log no longer leads to it"),
            )
        for written in self.kept:
            try:
                said = CheckpointText.verified(written, self.keys)
            except NoteRefused as error:
                self._find("checkpoint", _("kept checkpoint"), None, str(error))
                continue
            roots[said.size] = (said.root, _("kept elsewhere, and the log does not lead to it"))
        return {size: root for size, root in roots.items() if size}

    def _meet_roots(self, roots: dict[int, tuple[bytes, str]], tree: Frontier) -> None:
        expected = roots.pop(tree.size, None)
        if expected is None:
            return
        if tree.root() == expected[0]:
            self.met.append(tree.size)
            return
        met = max((size for size in self.met if size < tree.size), default=0)
        text = _("%(why)s; look among leaves %(first)s to %(last)s") % {
            "why": expected[1],
            "first": met,
            "last": tree.size - 1,
        }
        self._find("checkpoint", _checkpoint_of(tree.size), None, text)

    # Leaves

    def _batch(self, first: int, end: int) -> Iterator[bytes]:
        """Check the leaves ``[first, end)``; yields the hash each should have."""
        places = {each.at: each for each in _read(PLACES, [first, end])}
        known = dict(enumerate(self.mirror.leaves(first, end), first)) if self.mirror else {}
        rows = _rows_of(places.values())
        for index in range(first, end):
            place, remembered = places.get(index), known.get(index)
            if place is None:
                if remembered is None:
                    self._find("log altered", _("leaf"), index, _("its place in the log is empty"), index)
                    yield EMPTY
                else:
                    self.misplaced[index] = (remembered, None)
                    yield remembered.hash
                continue
            if remembered is not None and remembered != (place.hash, place.kind, place.record):
                self.misplaced[index] = (remembered, place)
                if (remembered.kind, remembered.record) != (place.kind, place.record):
                    yield remembered.hash
                    continue
            expected = remembered.hash if remembered else place.hash
            self._check(place, expected, rows.get((place.kind, place.record)))
            if remembered is None and place.kind in BY_TABLE:
                self.new.write(Remembered(expected, place.kind, place.record).packed())
            yield expected

    def _check(self, place: _Place, expected: bytes, row: dict[str, Any] | None) -> None:
        log_stands = sha256(b"\0" + place.leaf.encode()).digest() == expected
        kind = BY_TABLE.get(place.kind)
        if kind is None:
            self._find("log altered", _("leaf"), place.at, _("its entry is gone or names no record"), place.at)
            return
        if row is None:
            self._find("removed", place.kind, place.record, _("the record is gone"), place.at)
            return
        if place.salt is None:
            self._check_erased(kind, place, row, log_stands)
            return
        made = leaf_of(kind, row, place.salt, place.entered_at)
        if made == place.leaf and log_stands:
            self._check_dating(place, row)
        elif sha256(b"\0" + made.encode()).digest() == expected:
            text = _("the record stands, its log entry differs")
            self._find("log altered", place.kind, place.record, text, place.at)
        elif log_stands:
            self._find("altered", place.kind, place.record, _differences(kind, place, row), place.at)
        else:
            text = _("the record or its log entry differs from what was signed")
            self._find("altered", place.kind, place.record, text, place.at)

    def _check_dating(self, place: _Place, row: dict[str, Any]) -> None:
        recorded = row.get("recorded_at")
        if recorded is None:
            return
        sizes, signed = self.dated
        at = bisect_right(sizes, place.at)
        before = signed[at - 1] if at else None
        if before is not None and datetime.fromisoformat(recorded) < before - LATE:
            text = _("claims to have been recorded at %(recorded)s; the checkpoint of %(signed)s lacks it") % {
                "recorded": recorded,
                "signed": before.isoformat(),
            }
            self._find("back-dated", place.kind, place.record, text, place.at)

    def _check_erased(self, kind: Kind, place: _Place, row: dict[str, Any], log_stands: bool) -> None:
        """Of an erased record the log can still tell the columns that are not personal."""
        subject = self.erased.get((place.kind, place.record))
        said = json.loads(place.leaf)
        opened = {key: value for key, value in row.items() if key not in kind.personal}
        about = kind.about_worker
        if subject is None:
            self._find("log altered", place.kind, place.record, _("the salt is gone without an erasure"), place.at)
        elif not log_stands:
            text = _("the entry differs from what was signed")
            self._find("log altered", place.kind, place.record, text, place.at)
        elif said["open"] != opened:
            self._find("altered", place.kind, place.record, _differing(said["open"], opened), place.at)
        elif about and f"worker:{row[about]}" != subject:
            self._find("altered", place.kind, place.record, _("erased, and now about somebody else"), place.at)

    def _find_misplaced(self) -> None:
        """Leaves whose place holds something else than this machine remembers."""
        moved_to = {
            (place.kind, place.record): index for index, (_known, place) in self.misplaced.items() if place is not None
        }
        remembered_here = {(each.kind, each.record) for each, _place in self.misplaced.values()}
        named = {(each.kind, each.record) for each in self.report.findings}
        for index, (remembered, place) in sorted(self.misplaced.items()):
            kind, record = remembered.kind, remembered.record
            if place is not None and (place.kind, place.record) == (kind, record):
                if (kind, record) not in named:
                    text = _("its entry was made anew: the record may stand, the log is another")
                    self._find("log altered", kind, record, text, index)
                continue
            now = moved_to.get((kind, record))
            if now is not None:
                text = _("moved from place %(old)s to place %(new)s") % {"old": index, "new": now}
                self._find("reordered", kind, record, text, index)
            else:
                still_there = _exists(kind, record)
                text = _("the record is there, its log entry is gone") if still_there else _("the record is gone")
                self._find("removed", kind, record, text, index)
        for index, (_known, place) in sorted(self.misplaced.items()):
            # A place whose entry is gone holds nothing that could be named.
            if place is not None and place.kind and (place.kind, place.record) not in remembered_here:
                text = _("stands in place %(place)s of another record") % {"place": index}
                self._find("inserted", place.kind, place.record, text, index)

    # What stands beside the leaves

    def _pending(self) -> None:
        """Entries not placed yet are held to their rows too."""
        for place in _unplaced():
            row = stored_rows(BY_TABLE[place.kind], [place.record]).get(place.record)
            self._check(place, place.hash, row)

    def _strays(self) -> None:
        """Rows that never entered the log, and entries that lost their place."""
        named = {(each.kind, each.record) for each in self.report.findings}
        with connection.cursor() as cursor:
            for kind in KINDS:
                statement = sql.SQL(
                    "SELECT id FROM {} known WHERE NOT EXISTS (SELECT FROM ledger_entry"
                    " WHERE kind = %s AND record = known.id) ORDER BY id"
                )
                cursor.execute(statement.format(sql.Identifier(kind.table)), [kind.table])
                for (record,) in cursor.fetchall():
                    if (kind.table, record) not in named:
                        text = _("it never entered the log, or its entry is gone")
                        self._find("inserted", kind.table, record, text)
        lost = Entry.objects.filter(place__isnull=True, pending__isnull=True).order_by("id")
        for entry in lost.only("kind", "record"):
            if (entry.kind, entry.record) not in named:
                self._find("log altered", entry.kind, entry.record, _("its entry has lost its place in the log"))

    def _derived(self) -> None:
        """What triggers keep beside the records must still follow from them."""
        with connection.cursor() as cursor:
            for name, statement in DERIVED.items():
                cursor.execute(statement)
                for (record,) in cursor.fetchall():
                    self._find("derived", name, record, _("differs from what the records say"))

    def _remember(self, size: int) -> None:
        assert self.mirror is not None
        newest = next((each for each, said in reversed(self.checkpoints) if said and said.size <= size), None)
        if newest is not None and newest.size > self.remembered:
            self.mirror.remember(self.new, newest.size - self.remembered, newest.note)

    def _find(self, what: What, kind: str, record: int | None, detail: str, index: int | None = None) -> None:
        since = "" if index is None else self._since(index)
        self.report.findings.append(Finding(what, kind, record, detail, index, since))

    def _since(self, index: int) -> str:
        if self.last_good and index < self.last_good.size and self.last_good.signed_at:
            return _("in order at the checkpoint of %(leaves)s leaves, %(when)s UTC") % _size_and_time(self.last_good)
        for _stored, said in self.checkpoints:
            if said is not None and said.size > index and said.signed_at:
                return _("signed first by the checkpoint of %(leaves)s leaves, %(when)s UTC") % _size_and_time(said)
        return _("not under a checkpoint yet")


def _checkpoint_of(size: int) -> str:
    return _("checkpoint of %(leaves)s leaves") % {"leaves": size}


def _size_and_time(said: CheckpointText) -> dict[str, Any]:
    return {"leaves": said.size, "when": f"{said.signed_at:%Y-%m-%d %H:%M}"}


def _erased_entries() -> dict[tuple[str, int], str]:
    """Whose erasure took a record's salt, by kind and number."""
    found = {}
    for subject, entries in Erasure.objects.values_list("subject", "entries"):
        for kind, record in Entry.objects.filter(pk__in=entries).values_list("kind", "record"):
            found[kind, record] = subject
    return found


PLACES = """
    SELECT leaf.index, leaf.hash, coalesce(entry.kind, ''), coalesce(entry.record, 0), entry.salt,
           coalesce(entry.leaf, ''), pg_catalog.to_jsonb(entry.entered_at) #>> '{}'
    FROM ledger_leaf leaf LEFT JOIN ledger_entry entry ON entry.id = leaf.entry_id
    WHERE leaf.index >= %s AND leaf.index < %s
"""
UNPLACED = """
    SELECT -1, entry.leaf_hash, entry.kind, entry.record, entry.salt, entry.leaf,
           pg_catalog.to_jsonb(entry.entered_at) #>> '{}'
    FROM ledger_pending pending JOIN ledger_entry entry ON entry.id = pending.entry_id
    WHERE entry.id > %s ORDER BY entry.id LIMIT %s
"""

DERIVED = {
    "crews_decisiondependency of decision": """
        SELECT decision.id FROM crews_decision decision
        LEFT JOIN (SELECT decision_id, jsonb_object_agg(subject, version) AS versions
                   FROM crews_decisiondependency GROUP BY decision_id) kept ON kept.decision_id = decision.id
        WHERE coalesce(kept.versions, '{}') <> decision.evidence_versions ORDER BY 1
    """,
    "crews_assignmentstate of assignment": """
        SELECT assignment.id FROM crews_assignment assignment
        JOIN crews_slot slot ON slot.id = assignment.slot_id
        LEFT JOIN crews_assignmentstate state ON state.assignment_id = assignment.id
        LEFT JOIN LATERAL (
            SELECT kind FROM crews_assignmentevent event
            WHERE event.assignment_id = assignment.id AND kind <> 'ended' ORDER BY id DESC LIMIT 1) last ON true
        LEFT JOIN LATERAL (
            SELECT decision_id FROM crews_assignmentevent event
            WHERE event.assignment_id = assignment.id AND kind = 'confirmed' ORDER BY id DESC LIMIT 1) again ON true
        LEFT JOIN LATERAL (
            SELECT min(happened_at) AS ends FROM crews_assignmentevent event
            WHERE event.assignment_id = assignment.id AND kind = 'ended') left_early ON true
        WHERE (state.slot_id, state.job_id, state.worker_id, state.role, state.decision_id) IS DISTINCT FROM
              (assignment.slot_id, slot.job_id, assignment.worker_id, slot.role,
               coalesce(again.decision_id, assignment.decision_id))
           OR CASE WHEN left_early.ends <= assignment.start THEN state.standing <> 'ended'
              ELSE state.standing <> CASE last.kind WHEN 'held' THEN 'held' ELSE 'standing' END
                   OR state.during <> tstzrange(assignment.start, least(assignment."end", left_early.ends)) END
        ORDER BY 1
    """,
}


def _read(statement: str, arguments: Sequence[int]) -> list[_Place]:
    # Hashes and salts come as bytes, rather than as text that spells them, by a cursor of the driver's own alone.
    with psycopg.Cursor(connection.connection, row_factory=args_row(_Place)) as cursor:
        return cursor.execute(statement, arguments, binary=True).fetchall()


def _unplaced() -> Iterator[_Place]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT entry_id FROM ledger_pending ORDER BY entry_id")
        numbers = [number for (number,) in cursor.fetchall()]
    for start in range(0, len(numbers), BATCH):
        yield from _read(UNPLACED, [numbers[start] - 1, len(numbers[start : start + BATCH])])


def _rows_of(places: Iterable[_Place]) -> dict[tuple[str, int], dict[str, Any]]:
    """The rows behind some places, in one statement for each kind."""
    wanted: dict[str, list[int]] = {}
    for each in places:
        wanted.setdefault(each.kind, []).append(each.record)
    return {
        (table, record): row
        for table, records in wanted.items()
        if table in BY_TABLE
        for record, row in stored_rows(BY_TABLE[table], records).items()
    }


def _exists(table: str, record: int) -> bool:
    return bool(stored_rows(BY_TABLE[table], [record]))


def _differences(kind: Kind, place: _Place, row: dict[str, Any]) -> str:
    """What the log can tell of an altered row: its open columns by name and value, the others not."""
    opened = {key: value for key, value in row.items() if key not in kind.personal}
    return _differing(json.loads(place.leaf)["open"], opened) or _(
        "a personal column differs from what was committed to"
    )


def _differing(said: dict[str, Any], now: dict[str, Any]) -> str:
    changed = sorted(key for key in said.keys() | now.keys() if said.get(key) != now.get(key))
    return f"{_(';')} ".join(
        _("%(column)s was %(before)s, is %(now)s")
        % {"column": key, "before": _shown(said.get(key)), "now": _shown(now.get(key))}
        for key in changed
    )


def _shown(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 100 else f"{text[:100]} …"

"""The log's own tables. The database fills them; nothing in them is ever changed.

A leaf of the tree is an :class:`Entry` once it has a place (:class:`Leaf`).
``Node`` holds the hashes of complete subtrees of 256, 65,536 … leaves, from
which roots and proofs are made without reading every leaf.
"""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Q

from registry.database.guards import Trigger, added_to, entered_now, only_read, recorded_now
from registry.ledger.guards import logged

never_in_the_log = Trigger("never_changed", "BEFORE UPDATE OR DELETE", "ledger_refuse_change()")


class Entry(models.Model):
    """One logged record: ``leaf`` is RFC 8785 JSON, ``leaf_hash`` its RFC 9162 leaf hash.

    ``salt`` (32 bytes) opens the leaf's commitment to the record's personal
    columns; a lawful erasure takes it away.
    """

    # Made by the database from rows that were looked at themselves; hashed byte for byte.
    verbatim: ClassVar = ("kind", "leaf")

    kind = models.TextField()
    record = models.BigIntegerField()
    entered_at = models.DateTimeField()
    salt = models.BinaryField(null=True)
    leaf = models.TextField()
    leaf_hash = models.BinaryField()

    # Entries and their places are made by triggers and functions alone.
    guards = (never_in_the_log, only_read)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["record", "kind"], name="a_record_enters_the_log_once"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.record}"


class Pending(models.Model):
    """An entry that has no place in the tree yet."""

    entry = models.OneToOneField(Entry, models.PROTECT, primary_key=True, related_name="pending")

    guards = (only_read,)

    def __str__(self) -> str:
        return f"entry {self.entry_id}"


class Leaf(models.Model):
    """The place of an entry in the tree, counted from 0 without gaps."""

    index = models.BigIntegerField(primary_key=True)
    entry = models.OneToOneField(Entry, models.PROTECT, related_name="place")
    hash = models.BinaryField()

    guards = (never_in_the_log, only_read)

    def __str__(self) -> str:
        return f"leaf {self.index}"


class Node(models.Model):
    """The hash of the complete subtree of ``2 ** level`` leaves that starts at leaf ``index * 2 ** level``."""

    level = models.PositiveSmallIntegerField()
    index = models.BigIntegerField()
    hash = models.BinaryField()

    guards = (never_in_the_log, added_to)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["level", "index"], name="a_subtree_has_one_hash"),
        ]

    def __str__(self) -> str:
        return f"subtree {self.level}/{self.index}"


class Checkpoint(models.Model):
    """A signed statement of the tree's size and root, in the C2SP tlog-checkpoint form (``note``)."""

    size = models.BigIntegerField(unique=True)
    root = models.BinaryField()
    # Signed byte for byte.
    verbatim: ClassVar = ("note",)

    note = models.TextField()
    made_at = models.DateTimeField()

    guards = (never_in_the_log, entered_now("made_at"), added_to)

    class Meta:
        ordering: ClassVar = ["size"]

    def __str__(self) -> str:
        return f"checkpoint of {self.size} leaves"


class Erasure(models.Model):
    """A lawful erasure: whose personal data were removed, on what ground, and which entries lost their salt."""

    subject = models.TextField()
    ground = models.TextField()
    entries = ArrayField(models.BigIntegerField())
    erased_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    guards = (never_in_the_log, only_read, logged)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=~Q(ground=""), name="an_erasure_states_its_ground"),
        ]
        indexes: ClassVar = [models.Index(fields=["subject"], name="ledger_erasure_by_subject")]

    def __str__(self) -> str:
        return f"erasure of {self.subject}"


class SigningKey(models.Model):
    """A public key checkpoints are signed with; the newest signs. ``verifier_key`` is the C2SP form."""

    name = models.TextField()
    public_key = models.BinaryField()
    verifier_key = models.TextField(unique=True)
    recorded_at = models.DateTimeField()

    guards = (never_in_the_log, recorded_now, added_to, logged)

    def __str__(self) -> str:
        return self.verifier_key

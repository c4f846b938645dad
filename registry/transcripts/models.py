"""Which documents were given out, so that anybody can ask whether one is genuine, and links by which workers share."""

from __future__ import annotations

from datetime import timedelta
from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from registry.database.guards import append_only, erasable
from registry.ledger.guards import logged
from registry.people.guards import shown_to, worker_is_not_erased


class IssuedTranscript(models.Model):
    """A training transcript that was given out, by the code printed on it.

    ``sha256`` is that of the whole file; ``evidence_version`` and
    ``checkpoint_size`` say what the register held about the worker then.
    """

    code = models.CharField(max_length=19, unique=True)
    worker = models.ForeignKey("people.Worker", models.PROTECT, related_name="transcripts_issued")
    sha256 = models.CharField(max_length=64)
    evidence_version = models.BigIntegerField()
    checkpoint_size = models.BigIntegerField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    guards = (*append_only, logged, shown_to("transcripts_issuedtranscript"))

    class Meta:
        indexes: ClassVar = [models.Index(fields=["worker", "recorded_at"], name="transcripts_of_a_worker")]

    def __str__(self) -> str:
        return f"transcript {self.code}"


class SharedLink(models.Model):
    """A link by which a worker shows their own record to somebody for some days; of its token the SHA-256 alone."""

    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    worker = models.ForeignKey("people.Worker", models.PROTECT, related_name="shared_links")
    note = models.CharField(max_length=200, blank=True)
    expires_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    guards = (
        *append_only,
        logged,
        worker_is_not_erased,
        erasable("note"),
        # A link is the worker's own affair; whoever looked through it knows of it.
        shown_to(
            "transcripts_sharedlink",
            """worker_id = (SELECT registry_reader_worker())
                OR EXISTS (
                    SELECT FROM registry_opened_links opened WHERE opened.link_id = transcripts_sharedlink.id)""",
        ),
    )

    class Meta:
        indexes: ClassVar = [models.Index(fields=["worker", "recorded_at"], name="shared_links_of_a_worker")]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(expires_at__gt=F("recorded_at")) & Q(expires_at__lte=F("recorded_at") + timedelta(days=30)),
                name="shared_link_lasts_at_most_30_days",
            ),
            models.CheckConstraint(
                condition=Q(token_hash__regex=r"^[0-9a-f]{64}$"),  # noqa: S106
                name="shared_link_keeps_only_the_tokens_sha256",
            ),
        ]

    def __str__(self) -> str:
        return f"link of {self.recorded_at:%Y-%m-%d}"


class EndedLink(models.Model):
    """The worker ended a link before its time."""

    link = models.OneToOneField(SharedLink, models.PROTECT, related_name="ended")
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    guards = (
        *append_only,
        logged,
        shown_to(
            "transcripts_endedlink",
            "EXISTS (SELECT FROM transcripts_sharedlink link WHERE link.id = transcripts_endedlink.link_id)",
        ),
    )

    def __str__(self) -> str:
        return f"end of the {self.link}"


class LinkOpening(models.Model):
    """Somebody looked through a shared link; ``recorded_by`` ``None`` is somebody who was not signed in."""

    WHAT = ("record", "transcript")

    link = models.ForeignKey(SharedLink, models.PROTECT, related_name="openings")
    what = models.CharField(max_length=10, choices=[(each, each) for each in WHAT])
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    guards = (
        *append_only,
        logged,
        shown_to(
            "transcripts_linkopening",
            """recorded_by_id = (SELECT registry_reader_account())
                OR EXISTS (SELECT FROM transcripts_sharedlink link WHERE link.id = transcripts_linkopening.link_id
                           AND link.worker_id = (SELECT registry_reader_worker()))""",
        ),
    )

    class Meta:
        indexes: ClassVar = [models.Index(fields=["link", "recorded_at"], name="openings_of_a_shared_link")]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(what__in=["record", "transcript"]), name="link_opening_says_what")
        ]

    def __str__(self) -> str:
        return f"{self.what} through the {self.link}"

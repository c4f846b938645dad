"""Which documents were given out, so that anybody can ask whether one is genuine."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models


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

    class Meta:
        indexes: ClassVar = [models.Index(fields=["worker", "recorded_at"], name="transcripts_of_a_worker")]

    def __str__(self) -> str:
        return f"transcript {self.code}"

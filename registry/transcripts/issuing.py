"""Giving a training transcript out, and telling anybody whether one is genuine and current."""

from __future__ import annotations

import hashlib
import secrets
from base64 import b32encode
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from registry.database.readers import as_the_register
from registry.database.repeating import repeating
from registry.evidence.models import Certification, EvidenceVersion
from registry.ledger.models import Checkpoint
from registry.people.models import Account, Worker
from registry.transcripts.check import Check
from registry.transcripts.models import IssuedTranscript
from registry.transcripts.signing import sign
from registry.transcripts.transcript import certifications_of, transcript_of
from registry.transcripts.transcript_document import print_transcript

OF_NO_PRESENT_RECORD = 0
"""The evidence version of a transcript of an earlier time: none is that low, since each record counts."""
MOST_CERTIFICATES = 20
"""So many certificates of one number are told of; each scheme counts its own."""


@dataclass(frozen=True, slots=True)
class GivenOut:
    """The record of a transcript, and its file."""

    issued: IssuedTranscript
    pdf: bytes


@repeating
@as_the_register()
def issue_transcript(
    *,
    worker: Worker,
    at: datetime,
    issued_by: Account | None,
    language: str,
    paper: str,
    base: str,
    checkpoint: Checkpoint,
    known_at: datetime | None = None,
) -> GivenOut:
    """Print, sign and record a worker's transcript; ``checkpoint``, the newest, is printed on it.

    ``base`` is the address of this registry, to which the QR code leads. ``known_at``
    leaves out what was recorded later; such a transcript never passes for the whole record.
    """
    code = _new_code()
    version = _version_of(worker) if known_at is None else OF_NO_PRESENT_RECORD
    check = Check(base=base, code=code, checkpoint=checkpoint.note)
    transcript = transcript_of(worker, known_at=at if known_at is None else min(at, known_at))
    pdf = sign(print_transcript(transcript, printed_at=at, language=language, paper=paper, check=check), signed_at=at)
    with transaction.atomic():
        issued = IssuedTranscript.objects.create(
            code=code,
            worker=worker,
            sha256=hashlib.sha256(pdf).hexdigest(),
            evidence_version=version,
            checkpoint_size=checkpoint.size,
            recorded_at=at,
            recorded_by=issued_by,
        )
    return GivenOut(issued, pdf)


def _new_code() -> str:
    """80 random bits as four groups of four letters and digits (RFC 4648, base 32), to be typed by hand."""
    letters = b32encode(secrets.token_bytes(10)).decode()
    return "-".join(letters[at : at + 4] for at in range(0, 16, 4))


def _version_of(worker: Worker) -> int:
    found = EvidenceVersion.objects.filter(subject=f"worker:{worker.pk}").values_list("version", flat=True).first()
    return found or 0


@dataclass(frozen=True, slots=True)
class TranscriptStanding:
    """What anybody may know of a transcript: when it was given out, and whether it is still the whole record.

    ``same_file`` is ``None`` where no file was shown.
    """

    issued_at: datetime
    current: bool
    same_file: bool | None


@as_the_register()
def transcript_standing(code: str, *, file: bytes | None = None) -> TranscriptStanding | None:
    """The standing of the transcript with this code; ``None`` where none was given out under it."""
    written = code.strip().upper().replace(" ", "").replace("-", "")
    grouped = "-".join(written[at : at + 4] for at in range(0, len(written), 4))
    issued = IssuedTranscript.objects.filter(code=grouped).select_related("worker").first()
    if issued is None:
        return None
    same = None if file is None else hashlib.sha256(file).hexdigest() == issued.sha256
    return TranscriptStanding(issued.recorded_at, _version_of(issued.worker) == issued.evidence_version, same)


@dataclass(frozen=True, slots=True)
class CertificateStanding:
    """What anybody may know of a certificate: scheme, issuer and ``status`` as a transcript tells it."""

    scheme: str
    issuer: str
    status: str


@as_the_register()
def certificate_standings(number: str, *, at: datetime) -> list[CertificateStanding]:
    """The certificates on record under this number, as they stand at the instant ``at``."""
    current = Certification.objects.current().filter(number__iexact=number.strip()).select_related("worker")
    found = []
    for each in current.order_by("scheme", "issued")[:MOST_CERTIFICATES]:
        held = certifications_of(each.worker, known_at=at)
        (status,) = (one.status for one in held if one.record == f"certification:{each.pk}")
        found.append(CertificateStanding(each.scheme, each.issuer, status))
    return found

"""Giving a training transcript out, and telling anybody whether one is genuine and current."""

from __future__ import annotations

import hashlib
import secrets
from base64 import b32encode
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from django.db import transaction

from registry.evidence.models import Certification, CertificationStatus, EvidenceVersion
from registry.ledger.notes import Signer
from registry.ledger.services import make_checkpoint
from registry.people.models import Account, Worker
from registry.transcripts.check import Check
from registry.transcripts.models import IssuedTranscript
from registry.transcripts.signing import sign
from registry.transcripts.transcript import transcript_of
from registry.transcripts.transcript_document import print_transcript


@dataclass(frozen=True, slots=True)
class GivenOut:
    """The record of a transcript, and its file."""

    issued: IssuedTranscript
    pdf: bytes


def issue_transcript(
    *,
    worker: Worker,
    at: datetime,
    issued_by: Account | None,
    language: str,
    paper: str,
    base: str,
    signers: Sequence[Signer],
) -> GivenOut:
    """Print, sign and record a worker's transcript under a checkpoint made now.

    ``base`` is the address of this registry, to which the QR code leads.
    """
    checkpoint = make_checkpoint(at=at, signers=signers)
    code = _new_code()
    version = _version_of(worker)
    check = Check(base=base, code=code, checkpoint=checkpoint.note)
    transcript = transcript_of(worker, known_at=at)
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
    """What anybody may know of a certificate: scheme, issuer and how it stands on a day."""

    scheme: str
    issuer: str
    standing: Literal["valid", "expired", "suspended", "revoked", "not issued yet"]


def certificate_standings(number: str, *, on: date, at: datetime) -> list[CertificateStanding]:
    """The certificates on record under this number, as they stand on the day ``on`` and at the instant ``at``."""
    found = Certification.objects.current().filter(number__iexact=number.strip()).order_by("scheme", "issued")
    return [CertificateStanding(each.scheme, each.issuer, _standing(each, on, at)) for each in found[:20]]


def _standing(
    certificate: Certification, on: date, at: datetime
) -> Literal["valid", "expired", "suspended", "revoked", "not issued yet"]:
    changes = CertificationStatus.objects.current().filter(certification=certificate, effective_at__lte=at)
    last = changes.order_by("-effective_at", "-id").first()
    if last is not None and last.status == "revoked":
        return "revoked"
    if last is not None and last.status == "suspended":
        return "suspended"
    if certificate.issued > on:
        return "not issued yet"
    if certificate.expires is not None and certificate.expires < on:
        return "expired"
    return "valid"

"""The inspection bundle: a ZIP with everything about a job, which verifies without the registry.

Its layout is what ``registry/ledger/standalone/verify_registry.py`` reads; that
file travels in the bundle.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import PurePosixPath
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import translation

from registry.crews.models import Decision
from registry.evidence.models import Document
from registry.inspection.bundle_records import records_of
from registry.inspection.models import InspectionFile
from registry.inspection.report import print_report
from registry.ledger.kinds import BY_TABLE
from registry.ledger.models import Checkpoint
from registry.ledger.queries import consistency_proof, inclusion_proofs, openings, recorded_keys, stored_rows
from registry.ledger.store import Hashes

VERIFIER = settings.PROJECT / "registry" / "ledger" / "standalone" / "verify_registry.py"
RECORDS, CONTENTS = "registry-records-1", "registry-bundle-1"
MOST_EARLIER = 50
"""So many earlier checkpoints, the first and the newest of them, are proved to be the beginning of this one."""

EXTENSIONS = {"application/pdf": "pdf", "image/png": "png", "image/jpeg": "jpg", "image/heic": "heic"}
FORMULA = ("=", "+", "-", "@", "\t", "\r")


def make_bundle(*, file: InspectionFile, checkpoint: Checkpoint, at: datetime, language: str) -> bytes:
    """Everything about the file's job as a ZIP: what ``checkpoint``, the newest, covers."""
    entries = list(_records(file, checkpoint))
    content: dict[str, bytes] = {
        "checkpoint.txt": checkpoint.note.encode(),
        "keys.txt": "".join(f"{each}\n" for each in recorded_keys()).encode(),
        "records.json": _json({"format": RECORDS, "records": entries}),
        "verify_registry.py": VERIFIER.read_bytes(),
        **_tables(entries),
        **_documents(entries),
        **_decisions(entries),
        **_consistency(checkpoint),
        "report.pdf": print_report(file=file, checkpoint=checkpoint, at=at, language=language),
    }
    with translation.override(language):
        readme = render_to_string("documents/bundle_readme.txt", {"file": file, "checkpoint": checkpoint, "at": at})
    content["README.txt"] = readme.encode()
    hashes = {name: hashlib.sha256(each).hexdigest() for name, each in sorted(content.items())}
    content["contents.json"] = _json({"format": CONTENTS, "files": hashes})
    return _zip(content, at)


def _records(file: InspectionFile, checkpoint: Checkpoint) -> Iterator[dict[str, Any]]:
    """Every record with what opens its commitment and the proof that it is under the checkpoint."""
    hashes = Hashes()
    for table, numbers in records_of(file).items():
        kind = BY_TABLE[table]
        rows = stored_rows(kind, numbers)
        proofs = inclusion_proofs(table, numbers, checkpoint=checkpoint, hashes=hashes)
        opened = openings(table, numbers)
        for number in sorted(rows.keys() & proofs.keys()):
            opening = opened.get(number)
            yield {
                "kind": table,
                "record": number,
                "open": {key: value for key, value in rows[number].items() if key not in kind.personal},
                "personal": None if opening is None else opening.personal,
                "salt": None if opening is None else opening.salt.hex(),
                "proof": proofs[number].as_json(),
            }


def _tables(entries: list[dict[str, Any]]) -> dict[str, bytes]:
    """The records once more as one CSV (RFC 4180) for each kind, to be read in a spreadsheet."""
    kinds: dict[str, list[dict[str, Any]]] = {}
    for each in entries:
        kinds.setdefault(each["kind"], []).append({**each["open"], **(each["personal"] or {})})
    return {f"records/{kind}.csv": _csv(rows) for kind, rows in kinds.items()}


def _csv(rows: list[dict[str, Any]]) -> bytes:
    columns = list(dict.fromkeys(key for row in rows for key in row))
    columns.sort(key=lambda each: each != "id")
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([_cell(row.get(column)) for column in columns] for row in rows)
    return text.getvalue().encode("utf-8-sig")


def _cell(value: Any) -> Any:
    if isinstance(value, dict | list):
        # Ordered as in records.json, so that the verifier makes the same table from it.
        return json.dumps(value, ensure_ascii=False, sort_keys=True)
    if isinstance(value, str) and value.startswith(FORMULA):
        # A spreadsheet would run it.
        return f"'{value}"
    return value


def _documents(entries: list[dict[str, Any]]) -> dict[str, bytes]:
    numbers = [each["record"] for each in entries if each["kind"] == "evidence_document" and each["salt"]]
    found = Document.objects.filter(pk__in=numbers).iterator(chunk_size=20)
    return {f"documents/{each.sha256}.{EXTENSIONS.get(each.media_type, 'bin')}": bytes(each.content) for each in found}


def _decisions(entries: list[dict[str, Any]]) -> dict[str, bytes]:
    """The engine's answers, one file each, laid out for reading."""
    numbers = [each["record"] for each in entries if each["kind"] == "crews_decision" and each["salt"]]
    found = Decision.objects.filter(pk__in=numbers).iterator(chunk_size=100)
    return {f"decisions/{each.pk}.json": _json(json.loads(each.statement)) for each in found}


def _consistency(checkpoint: Checkpoint) -> dict[str, bytes]:
    earlier = list(Checkpoint.objects.filter(size__lt=checkpoint.size, size__gt=0).order_by("size"))
    shown = earlier if len(earlier) <= MOST_EARLIER else [earlier[0], *earlier[1 - MOST_EARLIER :]]
    return {
        str(PurePosixPath("consistency") / f"{each.size}-{checkpoint.size}.json"): _json(
            consistency_proof(each, checkpoint).as_json()
        )
        for each in shown
    }


def _json(value: Any) -> bytes:
    return json.dumps(value, ensure_ascii=False, indent=1, sort_keys=True).encode() + b"\n"


def _zip(content: dict[str, bytes], at: datetime) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, each in sorted(content.items()):
            entry = zipfile.ZipInfo(name, at.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, each)
    return packed.getvalue()

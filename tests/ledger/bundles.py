"""Inspection bundles for the stand-alone verifier's tests, made from the registry's own proofs."""

from __future__ import annotations

import contextlib
import importlib.util
import io
import json
import subprocess
import sys
import zipfile
from collections.abc import Iterable, Mapping
from functools import cache
from hashlib import sha256
from pathlib import Path
from types import ModuleType
from typing import Any

from registry.ledger import queries
from registry.ledger.kinds import BY_TABLE
from registry.ledger.models import Checkpoint
from registry.ledger.notes import VerifierKey

PROGRAM = Path(queries.__file__).with_name("standalone") / "verify_registry.py"


@cache
def program() -> ModuleType:
    """The stand-alone verifier as a module."""
    spec = importlib.util.spec_from_file_location("verify_registry", PROGRAM)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def run_apart(*arguments: object) -> subprocess.CompletedProcess[str]:
    """The stand-alone verifier as a regulator runs it: a program of its own, isolated from the registry."""
    command = [sys.executable, "-I", str(PROGRAM), *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, cwd="/", timeout=60, check=False)


def run(*arguments: object) -> subprocess.CompletedProcess[str]:
    """The same in this process, which is faster."""
    told, complained = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(told), contextlib.redirect_stderr(complained):
        status = program().main([str(each) for each in arguments])
    given = [str(each) for each in arguments]
    return subprocess.CompletedProcess(given, status, told.getvalue(), complained.getvalue())


def record_with_proof(kind: str, record: int) -> dict[str, Any]:
    """A record as it stands in a bundle's ``records.json``."""
    known = BY_TABLE[kind]
    opening = queries.openings(kind, [record]).get(record)
    row = queries.stored_rows(known, [record])[record]
    return {
        "kind": kind,
        "record": record,
        "open": {key: value for key, value in row.items() if key not in known.personal},
        "personal": opening.personal if opening else None,
        "salt": opening.salt.hex() if opening else None,
        "proof": queries.inclusion_proof(kind, record).as_json(),
    }


def bundle(
    records: Iterable[tuple[str, int]],
    *,
    keys: Iterable[VerifierKey],
    earlier: Iterable[Checkpoint] = (),
    documents: Iterable[bytes] = (),
) -> dict[str, bytes]:
    """A bundle's files without their table of contents."""
    newest = queries.latest_checkpoint()
    assert newest is not None
    content = {"format": "registry-records-1", "records": [record_with_proof(*each) for each in records]}
    files = {
        "checkpoint.txt": newest.note.encode(),
        "keys.txt": "".join(f"{each}\n" for each in keys).encode(),
        "records.json": json.dumps(content).encode(),
        "README.txt": b"A bundle for tests.\n",
    }
    for each in earlier:
        proof = queries.consistency_proof(each, newest).as_json()
        files[f"consistency/{each.size}-{newest.size}.json"] = json.dumps(proof).encode()
    for document in documents:
        files[f"documents/{sha256(document).hexdigest()}.pdf"] = document
    return files


def with_contents(files: Mapping[str, bytes]) -> dict[str, bytes]:
    """The files with the table of contents that lists them."""
    listed = {name: sha256(content).hexdigest() for name, content in files.items()}
    contents = {"format": "registry-bundle-1", "files": listed}
    return {**files, "contents.json": json.dumps(contents).encode()}


def as_folder(files: Mapping[str, bytes], folder: Path) -> Path:
    """Write the files into a folder."""
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder


def as_zip(files: Mapping[str, bytes], path: Path) -> Path:
    """Write the files into a ZIP file."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return path

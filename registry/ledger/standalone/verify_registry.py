#!/usr/bin/env python3
"""Check papers that came out of a crew competency registry, without the registry.

    python3 verify_registry.py BUNDLE [--key KEY] [--earlier CHECKPOINT] [--json]
    python3 verify_registry.py proof PROOF.json [--key KEY] [--json]

BUNDLE is an inspection bundle, as a ZIP file or unpacked as a folder. KEY is the
public key that you trust, as ``name+digits+base64``: take it from anywhere but
the bundle, since a forger would put a key of his own there. CHECKPOINT is a file
with a checkpoint that you kept from before.

Needs Python 3.11 or newer and the package ``cryptography``. This program shares no
code with the registry: it was written from RFC 9162 (the tree), RFC 8785
(canonical JSON), RFC 8032 (Ed25519) and the C2SP signed-note form alone. It opens
no connection and writes no file.

Exit status: 0 in order, 1 not in order, 2 the input cannot be read.

It checks that records are those that were logged. Whether they permit anybody to
work is not decided here, and no paper makes a lift safe.
"""

from __future__ import annotations

import argparse
import binascii
import csv
import io
import json
import os
import stat
import sys
import zipfile
import zlib
from base64 import b64decode
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import IO, Any, NoReturn, Protocol

try:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
except ImportError:
    print("This program needs the package 'cryptography': python3 -m pip install cryptography", file=sys.stderr)
    sys.exit(2)

BUNDLE, RECORDS = "registry-bundle-1", "registry-records-1"
INCLUSION, CONSISTENCY = "registry-inclusion-proof-1", "registry-consistency-proof-1"
LEAF_KEYS = {"entered_at", "kind", "open", "personal", "record"}

UNSIGNED = {
    "README.txt": "an explanation",
    "keys.txt": "the keys by the bundle's own statement",
    "report.pdf": "an account for reading; it has a signature of its own, which a PDF reader checks",
    "verify_registry.py": "a copy of this program",
}
"""Files of a bundle that no record in the log vouches for."""
FOLDERS = ("consistency/", "decisions/", "documents/", "records/")
FORMULA = ("=", "+", "-", "@", "\t", "\r")

CHUNK = 1 << 20
LARGEST_TEXT = 128 << 20
"""Bytes of one JSON or text file: these are held in memory."""
LARGEST_FILE = 1 << 30
LARGEST_BUNDLE = 8 << 30
MOST_FILES = 100_000
LARGEST_LOG = 1 << 62


class Unreadable(Exception):
    """The input is no bundle or proof at all; the message is a sentence for people."""


class Wrong(Exception):
    """Something is not in order; the message is a sentence for people."""


# RFC 8785: canonical JSON


def canonical(value: Any) -> str:
    """The one text that stands for a JSON value."""
    match value:
        case None:
            return "null"
        case True:
            return "true"
        case False:
            return "false"
        case str():
            return json.dumps(value, ensure_ascii=False)
        case int() if abs(value) < 1 << 53:
            return str(value)
        case int() | float():
            return _number(value)
        case list():
            return "[" + ",".join(canonical(each) for each in value) + "]"
        case dict():
            keys = sorted(value, key=lambda key: key.encode("utf-16-be"))
            return "{" + ",".join(f"{canonical(key)}:{canonical(value[key])}" for key in keys) + "}"
    raise Wrong(f"a value of type {type(value).__name__} is no JSON")


def _number(value: int | float) -> str:
    """As ECMAScript writes it (Number::toString): the shortest digits, an exponent from 1e21 and below 1e-6."""
    try:
        sign, places, exponent = Decimal(repr(float(value))).as_tuple()
    except OverflowError:
        raise Wrong("a number is too large for canonical JSON") from None
    if not isinstance(exponent, int):
        raise Wrong("canonical JSON has no infinity and no NaN")
    digits = "".join(map(str, places)).lstrip("0")
    point = exponent + len(digits)
    digits = digits.rstrip("0")
    if not digits:
        return "0"
    if len(digits) <= point <= 21:
        text = digits + "0" * (point - len(digits))
    elif 0 < point <= 21:
        text = f"{digits[:point]}.{digits[point:]}"
    elif -6 < point <= 0:
        text = f"0.{'0' * -point}{digits}"
    else:
        fraction = f".{digits[1:]}" if len(digits) > 1 else ""
        text = f"{digits[0]}{fraction}e{point - 1:+d}"
    return "-" * sign + text


def canonical_bytes(value: Any) -> bytes:
    """In UTF-8. Raises :class:`Wrong` for text that is no Unicode."""
    try:
        return canonical(value).encode()
    except UnicodeEncodeError:
        raise Wrong("a text holds half a character (a lone surrogate)") from None
    except RecursionError:
        raise Wrong("a value is nested too deeply") from None


# RFC 9162, section 2.1: the tree, by its recursive definition


def _leaf(text: bytes) -> bytes:
    return sha256(b"\x00" + text).digest()


def _join(left: bytes, right: bytes) -> bytes:
    return sha256(b"\x01" + left + right).digest()


def _left_part(size: int) -> int:
    return 1 << (size - 1).bit_length() - 1


def root_of_inclusion(index: int, size: int, leaf: bytes, path: list[bytes]) -> bytes:
    """The root that a path leads to from leaf ``index`` of ``size``."""
    if size == 1:
        if path:
            raise Wrong("the path is too long")
        return leaf
    if not path:
        raise Wrong("the path is too short")
    *below, beside = path
    left = _left_part(size)
    if index < left:
        return _join(root_of_inclusion(index, left, leaf, below), beside)
    return _join(beside, root_of_inclusion(index - left, size - left, leaf, below))


def roots_of_consistency(
    earlier: int, later: int, path: list[bytes], earlier_root: bytes, *, whole: bool = True
) -> tuple[bytes, bytes]:
    """The earlier and the later root that a path leads to."""
    if earlier == later:
        if len(path) != (0 if whole else 1):
            raise Wrong("the path has a wrong length")
        same = earlier_root if whole else path[0]
        return same, same
    if not path:
        raise Wrong("the path is too short")
    *below, beside = path
    left = _left_part(later)
    if earlier <= left:
        old, new = roots_of_consistency(earlier, left, below, earlier_root, whole=whole)
        return old, _join(new, beside)
    old, new = roots_of_consistency(earlier - left, later - left, below, earlier_root, whole=False)
    return _join(beside, old), _join(beside, new)


# C2SP signed-note and tlog-checkpoint


@dataclass(frozen=True)
class Key:
    name: str
    number: bytes
    public: bytes

    def __str__(self) -> str:
        return f"{self.name} ({self.number.hex()})"

    @classmethod
    def parse(cls, written: str) -> Key:
        """Read ``name+digits+base64``. Raises :class:`Unreadable`."""
        name, _, rest = written.strip().partition("+")
        number, _, encoded = rest.partition("+")
        key = _base64(encoded)
        if not name or any(each.isspace() for each in name) or key is None or len(key) != 33 or key[0] != 1:
            raise Unreadable(f"{shown(written)} is no Ed25519 key of the form name+digits+base64")
        expected = sha256(name.encode("utf-8", "replace") + b"\n" + key).digest()[:4]
        if number != expected.hex():
            raise Unreadable(f"the key of {shown(name)} is damaged: its digits should be {expected.hex()}")
        return cls(name, expected, key[1:])


@dataclass(frozen=True)
class Checkpoint:
    note: str
    origin: str
    size: int
    root: bytes
    time: str
    signed: str
    signatures: tuple[tuple[str, bytes, bytes], ...]

    def __str__(self) -> str:
        return f"checkpoint of {self.size} leaves"

    @property
    def tree(self) -> tuple[int, bytes]:
        """The size and the root."""
        return self.size, self.root

    @classmethod
    def parse(cls, note: Any) -> Checkpoint:
        """Take a signed checkpoint apart. Raises :class:`Wrong`."""
        text, blank, below = note.rpartition("\n\n") if isinstance(note, str) else ("", "", "")
        if not blank or not below.endswith("\n"):
            raise Wrong("a checkpoint is a text, a blank line and signature lines")
        signatures = []
        for line in below[:-1].split("\n"):
            name, _, encoded = line.removeprefix("\u2014 ").partition(" ")
            signature = _base64(encoded)
            if not line.startswith("\u2014 ") or not name or signature is None or len(signature) < 5:
                raise Wrong("a line under the checkpoint is no signature line")
            signatures.append((name, signature[:4], signature[4:]))
        origin, size, root, *more = [*text.split("\n"), "", ""]
        decoded = _base64(root)
        if not (size.isascii() and size.isdigit() and len(size) < 20 and str(int(size)) == size):
            raise Wrong("the second line of a checkpoint is its size")
        if not origin or decoded is None or len(decoded) != 32 or int(size) > LARGEST_LOG:
            raise Wrong("a checkpoint's lines are its origin, its size and the root in base64")
        if size == "0" and decoded != sha256(b"").digest():
            raise Wrong("an empty log has another root")
        time = next((each[5:] for each in more if each.startswith("time ")), "")
        return cls(note, origin, int(size), decoded, time, text + "\n", tuple(signatures))

    def signed_by(self, keys: Iterable[Key]) -> list[Key]:
        """Those of the keys that have signed. Raises :class:`Wrong` for a false signature or none."""
        known = {(each.name, each.number): each for each in keys}
        found = []
        for name, number, signature in self.signatures:
            key = known.get((name, number))
            if key is None:
                continue
            try:
                Ed25519PublicKey.from_public_bytes(key.public).verify(
                    signature, self.signed.encode("utf-8", "surrogatepass")
                )
            except (InvalidSignature, ValueError):
                raise Wrong(f"the signature of {key} is false") from None
            found.append(key)
        if not found:
            names = ", ".join(f"{name} ({number.hex()})" for name, number, _ in self.signatures)
            raise Wrong(f"no trusted key has signed it, only {names}")
        return found


def _base64(encoded: Any) -> bytes | None:
    try:
        return b64decode(encoded, validate=True) if isinstance(encoded, str) else None
    except (binascii.Error, ValueError):
        return None


# Proofs


def _path_in(proof: dict[str, Any]) -> list[bytes]:
    given = proof.get("path")
    if not isinstance(given, list) or len(given) > 128:
        raise Wrong("the proof has no path of hashes")
    path = [_base64(each) for each in given]
    if any(each is None or len(each) != 32 for each in path):
        raise Wrong("a hash in the proof's path is not 32 bytes in base64")
    return [each for each in path if each is not None]


def check_inclusion(proof: dict[str, Any], checkpoint: Checkpoint) -> dict[str, Any]:
    """Follow a leaf to the checkpoint's root; returns the leaf as read. Raises :class:`Wrong`."""
    leaf, index = proof.get("leaf"), proof.get("index")
    if proof.get("format") != INCLUSION:
        raise Wrong(f"the proof's format is not {INCLUSION}")
    if not isinstance(leaf, str) or not isinstance(index, int) or isinstance(index, bool):
        raise Wrong("the proof names no leaf and place")
    if not 0 <= index < checkpoint.size:
        raise Wrong(f"place {index} is not among the {checkpoint.size} leaves")
    try:
        text = leaf.encode()
    except UnicodeEncodeError:
        raise Wrong("the leaf holds half a character (a lone surrogate)") from None
    found = root_of_inclusion(index, checkpoint.size, _leaf(text), _path_in(proof))
    if found != checkpoint.root:
        raise Wrong("the proof does not lead to the signed root: this leaf is not in the log at this place")
    try:
        said = parse_json(text, "the leaf")
    except Unreadable as error:
        raise Wrong(str(error)) from None
    if not isinstance(said, dict) or said.keys() != LEAF_KEYS or canonical_bytes(said) != text:
        raise Wrong("the leaf is not of the form this program knows")
    return said


def check_opening(said: dict[str, Any], personal: Any, salt: Any) -> bool:
    """Hold personal data to the leaf's commitment; whether there was an opening. Raises :class:`Wrong`."""
    if personal is None and salt is None:
        return False
    if not isinstance(personal, dict) or not isinstance(salt, str):
        raise Wrong("personal data and salt come together or not at all")
    try:
        raw = bytes.fromhex(salt)
    except ValueError:
        raw = b""
    if len(raw) != 32:
        raise Wrong("the salt is not 32 bytes in hexadecimal")
    if sha256(raw + canonical_bytes(personal)).hexdigest() != said["personal"]:
        raise Wrong("the personal data are not those that were committed to when the record was made")
    return True


def check_open(said: dict[str, Any], opened: Any) -> None:
    """Hold the columns that are not personal to the leaf. Raises :class:`Wrong`."""
    if not isinstance(opened, dict):
        raise Wrong("the record's open columns are missing")
    logged = said["open"]
    if not isinstance(logged, dict) or canonical_bytes(opened) != canonical_bytes(logged):
        columns = logged if isinstance(logged, dict) else {}
        differing = sorted(
            key
            for key in opened.keys() | columns.keys()
            if key not in opened or key not in columns or canonical(opened[key]) != canonical(columns[key])
        )
        raise Wrong(f"the record differs from what was logged in: {', '.join(map(shown, differing))}")


def check_record(record: dict[str, Any], checkpoint: Checkpoint) -> bool:
    """A record of a bundle against the log; whether its personal data could be checked. Raises :class:`Wrong`."""
    proof = record.get("proof")
    if not isinstance(proof, dict):
        raise Wrong("there is no proof")
    if proof.get("checkpoint") != checkpoint.note:
        raise Wrong("its proof is for another checkpoint than the bundle's")
    said = check_inclusion(proof, checkpoint)
    for key in ("kind", "record"):
        if canonical_bytes(record.get(key)) != canonical_bytes(said[key]):
            raise Wrong(f"its proof is about another record: {shown(said['kind'])} {shown(said['record'])}")
    check_open(said, record.get("open"))
    return check_opening(said, record.get("personal"), record.get("salt"))


def check_consistency(proof: dict[str, Any]) -> tuple[Checkpoint, Checkpoint]:
    """That the later tree goes on from the earlier; both checkpoints, signatures not looked at."""
    if proof.get("format") != CONSISTENCY:
        raise Wrong(f"the proof's format is not {CONSISTENCY}")
    earlier, later = Checkpoint.parse(proof.get("earlier")), Checkpoint.parse(proof.get("later"))
    path = _path_in(proof)
    if earlier.origin != later.origin:
        raise Wrong("the two checkpoints are of different logs")
    if not 1 <= earlier.size <= later.size:
        raise Wrong(f"there is no growth from {earlier.size} to {later.size} leaves")
    roots = roots_of_consistency(earlier.size, later.size, path, earlier.root)
    if roots != (earlier.root, later.root):
        raise Wrong(f"the {later} does not go on from the {earlier}: what was logged before has been changed")
    return earlier, later


# Reading


def shown(value: Any) -> str:
    """A foreign value made fit for a terminal: short, and nothing that steers it."""
    text = value if isinstance(value, str) else repr(value)
    text = "".join(each if each.isprintable() else "\ufffd" for each in text[:200])
    return text if len(text) < 200 else f"{text} …"


def _twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise ValueError("an object has a key twice")
    return made


def _no_number(written: str) -> NoReturn:
    raise ValueError(f"{written} is no JSON number")


def parse_json(content: bytes, name: str) -> Any:
    """Strict JSON: UTF-8, no key twice, no NaN. Raises :class:`Unreadable`."""
    try:
        return json.loads(content.decode(), object_pairs_hook=_twice, parse_constant=_no_number)
    except RecursionError:
        raise Unreadable(f"{name} is nested too deeply") from None
    except ValueError as error:
        raise Unreadable(f"{name} is no JSON: {shown(str(error))}") from None


class Files(Protocol):
    """The files of a bundle by their paths with forward slashes."""

    def names(self) -> list[str]: ...

    def open(self, name: str) -> IO[bytes]: ...


class Folder:
    """An unpacked bundle."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def names(self) -> list[str]:
        """Paths of all files. Raises :class:`Unreadable` for links and devices."""
        found = []
        for parent, folders, files in os.walk(self.folder):
            for each in (*folders, *files):
                path = Path(parent, each)
                kind = path.lstat().st_mode
                if not stat.S_ISREG(kind) and not stat.S_ISDIR(kind):
                    raise Unreadable(f"{shown(str(path))} is neither a file nor a folder")
            found += [Path(parent, each).relative_to(self.folder).as_posix() for each in files]
            if len(found) > MOST_FILES:
                raise Unreadable(f"the folder holds more than {MOST_FILES} files")
        return sorted(found)

    def open(self, name: str) -> IO[bytes]:
        """Open a file for reading."""
        return (self.folder / name).open("rb")


class Archive:
    """A bundle as a ZIP file; nothing is unpacked to disk."""

    def __init__(self, path: Path) -> None:
        try:
            self.archive = zipfile.ZipFile(path)
        except (zipfile.BadZipFile, NotImplementedError, ValueError) as error:
            raise Unreadable(f"{shown(str(path))} is no ZIP file: {shown(str(error))}") from None

    def names(self) -> list[str]:
        """Paths of all files. Raises :class:`Unreadable` for names and entries that no bundle has."""
        entries = self.archive.infolist()
        if len(entries) > MOST_FILES:
            raise Unreadable(f"the ZIP file holds more than {MOST_FILES} files")
        found: set[str] = set()
        for each in entries:
            name = each.orig_filename
            parts = name.removesuffix("/").split("/")
            if name != each.filename or "\\" in name or ":" in name or any(part in ("", ".", "..") for part in parts):
                raise Unreadable(f"the ZIP file holds an entry with the name {shown(name)}")
            if name in found:
                raise Unreadable(f"the ZIP file holds {shown(name)} twice")
            if stat.S_ISLNK(each.external_attr >> 16) or each.flag_bits & 1:
                raise Unreadable(f"{shown(name)} in the ZIP file is a link or encrypted")
            if each.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                raise Unreadable(f"{shown(name)} in the ZIP file is packed in a way that bundles are not")
            if each.is_dir() and each.file_size:
                raise Unreadable(f"{shown(name)} in the ZIP file is a folder with content")
            found.add(name)
        return sorted(each for each in found if not each.endswith("/"))

    def open(self, name: str) -> IO[bytes]:
        """Open a file for reading."""
        return self.archive.open(name)


@dataclass
class Reader:
    """Reads files within limits: what a header claims is not believed, bytes are counted as they come."""

    files: Files
    read: int = 0

    def chunks(self, name: str, limit: int = LARGEST_FILE) -> Iterator[bytes]:
        """A file's content piece by piece. Raises :class:`Unreadable`."""
        size = 0
        try:
            with self.files.open(name) as file:
                while chunk := file.read(CHUNK):
                    size += len(chunk)
                    self.read += len(chunk)
                    if size > limit:
                        raise Unreadable(f"{shown(name)} is larger than {limit >> 20} MiB")
                    if self.read > LARGEST_BUNDLE:
                        raise Unreadable(f"the bundle is larger than {LARGEST_BUNDLE >> 30} GiB")
                    yield chunk
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError) as error:
            raise Unreadable(f"{shown(name)} cannot be read: {shown(str(error))}") from None

    def content(self, name: str) -> bytes:
        """A whole text file."""
        return b"".join(self.chunks(name, LARGEST_TEXT))

    def text(self, name: str) -> str:
        """In UTF-8. Raises :class:`Unreadable`."""
        try:
            return self.content(name).decode()
        except UnicodeDecodeError:
            raise Unreadable(f"{shown(name)} is no UTF-8 text") from None

    def json(self, name: str, form: str | None = None) -> dict[str, Any]:
        """An object of the named format. Raises :class:`Unreadable`."""
        value = parse_json(self.content(name), shown(name))
        if not isinstance(value, dict) or (form and value.get("format") != form):
            raise Unreadable(f"{shown(name)} is not of the format {form or 'of a proof'}")
        return value

    def digest(self, name: str) -> str:
        """SHA-256 in hexadecimal."""
        digest = sha256()
        for chunk in self.chunks(name):
            digest.update(chunk)
        return digest.hexdigest()


# A whole bundle


@dataclass
class Result:
    """What was checked (sentence), what was not in order (name and sentence), and what to know besides."""

    checked: list[str] = field(default_factory=list)
    failures: list[tuple[str, str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def fail(self, name: str, sentence: str) -> None:
        """Something is not in order."""
        self.failures.append((shown(name), sentence))

    def held(self, name: str, check: Callable[[], Any]) -> Any:
        """The check's result; where it fails, a failure under this name and ``None``."""
        try:
            return check()
        except Wrong as error:
            self.fail(name, str(error))
            return None


def check_bundle(files: Files, trusted: list[Key], kept: list[tuple[str, str]]) -> Result:
    """Check everything in a bundle. Raises :class:`Unreadable`; ``kept`` are names and notes."""
    result, reader = Result(), Reader(files)
    names = files.names()
    for needed in ("contents.json", "checkpoint.txt", "keys.txt", "records.json"):
        if needed not in names:
            raise Unreadable(f"the bundle has no {needed}")
    digests = _check_contents(reader, names, result)
    try:
        checkpoint = Checkpoint.parse(reader.text("checkpoint.txt"))
    except Wrong as error:
        raise Unreadable(f"checkpoint.txt: {error}") from None
    own = [Key.parse(line) for line in reader.text("keys.txt").splitlines() if line.strip()]
    _check_signature(checkpoint, trusted or own, result)
    if not trusted:
        result.notes.append(
            "No trusted key was given (--key): the signature was held only to the key in the bundle itself, which "
            "whoever made the bundle chose. Ask for the key by another way."
        )
    records = _check_records(reader.json("records.json", RECORDS), checkpoint, result)
    _check_tables(reader, [each for each in names if each.startswith("records/")], records, result)
    _check_decisions(reader, [each for each in names if each.startswith("decisions/")], records, result)
    documents = {str(each["open"].get("sha256")) for each in records if each["kind"] == "evidence_document"}
    _check_documents(
        {name: digest for name, digest in digests.items() if name.startswith("documents/")}, documents, result
    )
    proofs = [name for name in names if name.startswith("consistency/") and name.endswith(".json")]
    trees = _check_growth(reader, proofs, checkpoint, [*trusted, *own], result)
    for name, note in kept:
        _check_kept(name, note, checkpoint, trees, [*trusted, *own], result)
    _check_unsigned(names, result)
    return result


def _check_unsigned(names: list[str], result: Result) -> None:
    """Name what nothing signed covers: whoever writes contents.json anew can exchange it."""
    known = {"contents.json", "checkpoint.txt", "records.json", *UNSIGNED}
    for name in names:
        if name not in known and not name.startswith(FOLDERS):
            result.fail(name, "is no file that a bundle has")
    uncovered = [f"{name} ({what})" for name, what in UNSIGNED.items() if name in names]
    if uncovered:
        result.notes.append(f"Not covered by the signed checkpoint, so not checked here: {', '.join(uncovered)}.")


def _check_contents(reader: Reader, names: list[str], result: Result) -> dict[str, str]:
    """Hold all files to the table of contents; returns their digests."""
    listed = reader.json("contents.json", BUNDLE).get("files")
    if not isinstance(listed, dict):
        raise Unreadable("contents.json lists no files")
    digests = {name: reader.digest(name) for name in names if name != "contents.json"}
    for name in sorted(digests.keys() | listed.keys()):
        if name not in digests:
            result.fail(name, "is listed in contents.json and missing")
        elif name not in listed:
            result.fail(name, "is not listed in contents.json")
        elif digests[name] != listed[name]:
            result.fail(name, "is not the file that contents.json lists: its SHA-256 differs")
    result.checked.append(f"{len(digests)} files against contents.json")
    return digests


def _check_signature(checkpoint: Checkpoint, keys: list[Key], result: Result) -> None:
    signers = result.held("checkpoint.txt", lambda: checkpoint.signed_by(keys))
    names = ", ".join(shown(str(each)) for each in signers or []) or "no trusted key"
    when = f", {shown(checkpoint.time)}" if checkpoint.time else ""
    result.checked.append(
        f"checkpoint of {shown(checkpoint.origin)}: {checkpoint.size} leaves{when}, signed by {names}"
    )


def _check_records(content: dict[str, Any], checkpoint: Checkpoint, result: Result) -> list[dict[str, Any]]:
    """Check all records; returns those that are in order."""
    records = content.get("records")
    if not isinstance(records, list) or not all(isinstance(each, dict) for each in records):
        raise Unreadable("records.json holds no list of records")
    before, erased, in_order = len(result.failures), 0, []
    seen: set[str] = set()
    for each in records:
        name = shown(f"{each.get('kind')} {each.get('record')}")
        if name in seen:
            result.fail(name, "stands in records.json twice")
        seen.add(name)
        opened = result.held(name, partial(check_record, each, checkpoint))
        erased += opened is False
        if opened is not None:
            in_order.append(each)
    result.checked.append(
        f"{len(records)} records against the log, {len(result.failures) - before} not in order; "
        f"{erased} without personal data"
    )
    if erased:
        result.notes.append(
            f"{erased} records come without their personal data (lawfully erased, or withheld): their other columns "
            "were checked, whom they are about was not."
        )
    return in_order


def _check_tables(reader: Reader, names: list[str], records: list[dict[str, Any]], result: Result) -> None:
    """Hold each CSV to the records it repeats, made again from those that are in order."""
    kinds: dict[str, list[dict[str, Any]]] = {}
    for each in records:
        kinds.setdefault(f"records/{each['kind']}.csv", []).append({**each["open"], **(each["personal"] or {})})
    for name in names:
        result.held(name, partial(_check_table, reader, name, kinds.get(name, [])))
    result.checked.append(f"{len(names)} tables against the records")


def _check_table(reader: Reader, name: str, rows: list[dict[str, Any]]) -> None:
    """Hold one CSV to its rows, byte by byte; its columns may stand in any order. Raises :class:`Wrong`."""
    content = reader.content(name)
    try:
        columns = next(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")), [])
    except (UnicodeDecodeError, csv.Error):
        raise Wrong("is no table in UTF-8") from None
    if len(set(columns)) != len(columns) or set(columns) != {key for row in rows for key in row}:
        raise Wrong("has other columns than the records that are in order")
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([_cell(row.get(column)) for column in columns] for row in rows)
    if text.getvalue().encode("utf-8-sig") != content:
        raise Wrong("differs from the records that are in order")


def _cell(value: Any) -> Any:
    """As the registry writes it into a table; a text that a spreadsheet would run has an apostrophe before it."""
    if isinstance(value, dict | list):
        return json.dumps(value, ensure_ascii=False, sort_keys=True)
    if isinstance(value, str) and value.startswith(FORMULA):
        return f"'{value}"
    return value


def _check_decisions(reader: Reader, names: list[str], records: list[dict[str, Any]], result: Result) -> None:
    """Hold each decision laid out for reading to the statement that was logged."""
    statements = {
        f"decisions/{each['record']}.json": each["personal"].get("statement")
        for each in records
        if each["kind"] == "crews_decision" and each["personal"] is not None
    }
    for name in names:
        result.held(name, partial(_check_decision, reader, name, statements.get(name)))
    result.checked.append(f"{len(names)} decisions against their records")
    missing = len(statements.keys() - set(names))
    if missing:
        result.notes.append(f"{missing} decisions are on record and have no file of their own in the bundle.")


def _check_decision(reader: Reader, name: str, statement: Any) -> None:
    if not isinstance(statement, str):
        raise Wrong("is the statement of no decision that is in order")
    try:
        logged, said = parse_json(statement.encode(), "the record"), parse_json(reader.content(name), "the file")
    except Unreadable as error:
        raise Wrong(str(error)) from None
    if canonical_bytes(said) != canonical_bytes(logged):
        raise Wrong("says something else than the decision that was logged")


def _check_documents(digests: dict[str, str], documents: set[str], result: Result) -> None:
    for name, digest in digests.items():
        if name.removeprefix("documents/").partition(".")[0] != digest:
            result.fail(name, f"is named after another SHA-256 than its own, {digest}")
        elif digest not in documents:
            result.fail(name, "is no document of a record that is in order")
    result.checked.append(f"{len(digests)} documents against their records")
    missing = len(documents - set(digests.values()))
    if missing:
        result.notes.append(f"{missing} documents are on record and not in the bundle.")


def _check_growth(
    reader: Reader, names: list[str], checkpoint: Checkpoint, keys: list[Key], result: Result
) -> dict[tuple[int, bytes], str]:
    """Check all consistency proofs; returns the trees that the bundle's checkpoint goes on from."""
    steps: dict[str, tuple[Checkpoint, Checkpoint]] = {}
    for name in names:
        proof = reader.json(name)
        found = result.held(name, partial(_signed_step, proof, keys))
        if found:
            steps[name] = found
    reached = {checkpoint.tree: "checkpoint.txt"}
    waiting = dict(steps)
    while led := [name for name, (_, later) in waiting.items() if later.tree in reached]:
        for name in led:
            reached[waiting.pop(name)[0].tree] = name
    for name in waiting:
        result.fail(name, "leads to another checkpoint than the bundle's")
    result.checked.append(f"{len(names)} consistency proofs")
    return reached


def _signed_step(proof: dict[str, Any], keys: list[Key]) -> tuple[Checkpoint, Checkpoint]:
    earlier, later = check_consistency(proof)
    earlier.signed_by(keys)
    later.signed_by(keys)
    return earlier, later


def _check_kept(
    name: str,
    note: str,
    checkpoint: Checkpoint,
    trees: dict[tuple[int, bytes], str],
    keys: list[Key],
    result: Result,
) -> None:
    """Hold a checkpoint that somebody kept to the growth that the bundle proves."""
    try:
        earlier = Checkpoint.parse(note)
    except Wrong as error:
        raise Unreadable(f"{shown(name)}: {error}") from None
    result.checked.append(f"your kept {earlier} ({shown(name)})")
    result.held(name, lambda: earlier.signed_by(keys))
    if earlier.origin != checkpoint.origin:
        result.fail(name, f"is of another log, {shown(earlier.origin)}")
    elif earlier.size > checkpoint.size:
        result.fail(name, f"covers {earlier.size} leaves, more than the {checkpoint.size} of the bundle's checkpoint")
    elif earlier.size and earlier.tree not in trees:
        if any(size == earlier.size for size, _ in trees):
            result.fail(name, f"has another root than the log now shows for {earlier.size} leaves: history was changed")
        else:
            result.fail(name, "is covered by no consistency proof in the bundle; ask the registry for one")


def check_proof(proof: dict[str, Any], trusted: list[Key]) -> Result:
    """Check one proof on its own. Raises :class:`Unreadable`."""
    result = Result()
    match proof.get("format"):
        case "registry-inclusion-proof-1":
            result.held("proof", lambda: _single_inclusion(proof, trusted, result))
        case "registry-consistency-proof-1":
            result.held("proof", lambda: _single_consistency(proof, trusted, result))
        case other:
            raise Unreadable(f"{shown(other)} is no format of a proof that this program knows")
    if not trusted:
        result.notes.append(
            "No trusted key was given (--key): THE SIGNATURE WAS NOT CHECKED, so nobody vouches for it."
        )
    return result


def _single_inclusion(proof: dict[str, Any], trusted: list[Key], result: Result) -> None:
    checkpoint = Checkpoint.parse(proof.get("checkpoint"))
    if trusted:
        checkpoint.signed_by(trusted)
    said = check_inclusion(proof, checkpoint)
    result.checked.append(
        f"{shown(said['kind'])} {shown(said['record'])}, logged {shown(said['entered_at'])}, is leaf {proof['index']} "
        f"of the {checkpoint} of {shown(checkpoint.origin)}"
    )
    if "open" in proof:
        check_open(said, proof["open"])
        result.checked.append("its columns that are not personal")
    opening = proof.get("opening")
    if opening is None:
        return
    if not isinstance(opening, dict):
        raise Wrong("the opening is no object")
    if check_opening(said, opening.get("personal"), opening.get("salt")):
        result.checked.append("its personal data")


def _single_consistency(proof: dict[str, Any], trusted: list[Key], result: Result) -> None:
    earlier, later = check_consistency(proof)
    if trusted:
        later.signed_by(trusted)
        earlier.signed_by(trusted)
    result.checked.append(f"the {later} of {shown(later.origin)} goes on from the {earlier}")


# The command


def tell(result: Result, *, as_json: bool) -> int:
    """Print the result; the exit status."""
    if as_json:
        answer = {
            "format": "registry-verification-1",
            "in_order": not result.failures,
            "checked": result.checked,
            "failures": [{"name": name, "text": sentence} for name, sentence in result.failures],
            "notes": result.notes,
        }
        print(json.dumps(answer, indent=2))
        return 1 if result.failures else 0
    for sentence in result.checked:
        print(f"checked  {sentence}")
    for sentence in result.notes:
        print(f"note     {sentence}")
    for name, sentence in result.failures:
        print(f"WRONG    {name}: {sentence}")
    count = len(result.failures)
    print(f"NOT IN ORDER: {count} {'failure' if count == 1 else 'failures'}" if count else "IN ORDER")
    return 1 if count else 0


def run(arguments: list[str]) -> int:
    """Parse the command line and check. Raises :class:`Unreadable`."""
    single = arguments[:1] == ["proof"]
    parser = argparse.ArgumentParser(
        prog="verify_registry.py proof" if single else "verify_registry.py",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("path", type=Path, help="the proof" if single else "the bundle: a ZIP file or a folder")
    parser.add_argument("--key", action="append", default=[], help="a public key that you trust; may be repeated")
    parser.add_argument("--json", action="store_true", help="answer as JSON")
    if not single:
        parser.add_argument(
            "--earlier", type=Path, action="append", default=[], help="a checkpoint that you kept; may be repeated"
        )
    given = parser.parse_args(arguments[1:] if single else arguments)
    trusted = [Key.parse(each) for each in given.key]
    if single:
        beside = Reader(Folder(given.path.parent))
        return tell(check_proof(beside.json(given.path.name), trusted), as_json=given.json)
    kept = [(str(each), Reader(Folder(each.parent)).text(each.name)) for each in given.earlier]
    if not given.path.exists():
        raise Unreadable(f"there is no {shown(str(given.path))}")
    files: Files = Folder(given.path) if given.path.is_dir() else Archive(given.path)
    return tell(check_bundle(files, trusted, kept), as_json=given.json)


def main(arguments: list[str]) -> int:
    """The exit status."""
    try:
        return run(arguments)
    except Unreadable as error:
        print(f"cannot be read: {error}", file=sys.stderr)
    except RecursionError:
        print("cannot be read: the input is nested too deeply", file=sys.stderr)
    except OSError as error:
        print(f"cannot be read: {shown(str(error))}", file=sys.stderr)
    return 2


if __name__ == "__main__":
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
    sys.exit(main(sys.argv[1:]))

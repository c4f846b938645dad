"""Signed notes and checkpoints, in the open forms C2SP ``signed-note`` and ``tlog-checkpoint``.

A checkpoint is a text that anybody can read, keep and compare::

    registry.example/log
    1234
    zXl8…=                          the root, base64
    time 2026-11-25T06:00:00Z       when it was signed (an extension line)

    — registry.example/log Kx2…     Ed25519 (RFC 8032) over the lines above
"""

from __future__ import annotations

import binascii
from base64 import b64decode, b64encode
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from django.utils.translation import gettext as _

ED25519 = b"\x01"
DASH = "\u2014 "


class NoteRefused(ValueError):
    """A note or key is malformed, or no trusted key has signed the note."""


@dataclass(frozen=True, slots=True)
class VerifierKey:
    """A public key by name: ``<name>+<8 hexadecimal digits>+<base64>`` in its written form."""

    name: str
    public: bytes

    @property
    def key_id(self) -> bytes:
        """Four bytes that tell keys of one name apart."""
        return sha256(self.name.encode() + b"\n" + ED25519 + self.public).digest()[:4]

    def __str__(self) -> str:
        return f"{self.name}+{self.key_id.hex()}+{b64encode(ED25519 + self.public).decode()}"

    @classmethod
    def parse(cls, written: str) -> VerifierKey:
        """Read the written form. Raises :class:`NoteRefused`."""
        name, _plus, rest = written.strip().partition("+")
        stated_id, _plus, key = rest.partition("+")
        try:
            decoded = b64decode(key, validate=True)
        except binascii.Error:
            decoded = b""
        if not _is_name(name) or len(decoded) != 33 or decoded[:1] != ED25519:
            raise NoteRefused(_("a verifier key is written <name>+<8 hexadecimal digits>+<base64 of an Ed25519 key>"))
        parsed = cls(name, decoded[1:])
        if parsed.key_id.hex() != stated_id:
            text = _("the verifier key of %(name)s is damaged: its digits are not those of the key")
            raise NoteRefused(text % {"name": name})
        return parsed


@dataclass(frozen=True, slots=True)
class Signer:
    """A private key by name."""

    name: str
    private: Ed25519PrivateKey

    @property
    def verifier_key(self) -> VerifierKey:
        """The public half."""
        return VerifierKey(self.name, self.private.public_key().public_bytes_raw())

    def signature_line(self, text: str) -> str:
        """The note's line with the signature over ``text``."""
        signed = self.verifier_key.key_id + self.private.sign(text.encode())
        return f"{DASH}{self.name} {b64encode(signed).decode()}\n"


def signed_note(text: str, signers: Iterable[Signer]) -> str:
    """The text with one signature line for each signer; ``text`` ends with a newline."""
    if not text.endswith("\n"):
        raise NoteRefused(_("a note's text ends with a newline"))
    return text + "\n" + "".join(each.signature_line(text) for each in signers)


@dataclass(frozen=True, slots=True)
class Note:
    """A note taken apart; ``signatures`` are (name, key id, signature)."""

    text: str
    signatures: tuple[tuple[str, bytes, bytes], ...]

    @classmethod
    def parse(cls, written: str) -> Note:
        """Take a note apart. Raises :class:`NoteRefused`."""
        text, blank, lines = written.rpartition("\n\n")
        if not blank or not lines.endswith("\n"):
            raise NoteRefused(_("a note is a text, a blank line and signature lines"))
        return cls(text + "\n", tuple(_signature(line) for line in lines[:-1].split("\n")))

    def signed_by(self, keys: Iterable[VerifierKey]) -> list[VerifierKey]:
        """Those of ``keys`` that have signed. Raises :class:`NoteRefused` where a known key's signature is false."""
        known = {(each.name, each.key_id): each for each in keys}
        found = []
        for name, key_id, signature in self.signatures:
            key = known.get((name, key_id))
            if key is None:
                continue
            try:
                Ed25519PublicKey.from_public_bytes(key.public).verify(signature, self.text.encode())
            except InvalidSignature:
                text = _("the signature of %(name)s (%(key)s) is false") % {"name": name, "key": key_id.hex()}
                raise NoteRefused(text) from None
            found.append(key)
        return found


def _signature(line: str) -> tuple[str, bytes, bytes]:
    name, _space, encoded = line.removeprefix(DASH).partition(" ")
    try:
        decoded = b64decode(encoded, validate=True)
    except binascii.Error:
        decoded = b""
    if not line.startswith(DASH) or not _is_name(name) or len(decoded) < 5:
        raise NoteRefused(_("a signature line is an em dash, a name and base64"))
    return name, decoded[:4], decoded[4:]


def _is_name(name: str) -> bool:
    return bool(name) and "+" not in name and not any(each.isspace() for each in name)


@dataclass(frozen=True, slots=True)
class CheckpointText:
    """What a checkpoint says: the log's origin, its size in leaves, its root, and when it was signed."""

    origin: str
    size: int
    root: bytes
    signed_at: datetime | None = None

    def __str__(self) -> str:
        lines = [self.origin, str(self.size), b64encode(self.root).decode()]
        if self.signed_at is not None:
            lines.append(f"time {self.signed_at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}")
        return "\n".join(lines) + "\n"

    @classmethod
    def parse(cls, text: str) -> CheckpointText:
        """Read a checkpoint's text. Raises :class:`NoteRefused`."""
        origin, size, root, *more = [*text.split("\n"), "", ""][:-2]
        decoded = b""
        if size.isascii() and size.isdigit() and str(int(size)) == size:
            try:
                decoded = b64decode(root, validate=True)
            except binascii.Error:
                decoded = b""
        if not origin or len(decoded) != 32:
            raise NoteRefused(_("a checkpoint's lines are its origin, its size and the root in base64"))
        return cls(origin, int(size), decoded, _signed_at(more))

    @classmethod
    def verified(cls, written: str, keys: Sequence[VerifierKey]) -> CheckpointText:
        """Read a checkpoint that one of ``keys`` has signed. Raises :class:`NoteRefused`."""
        note = Note.parse(written)
        if not note.signed_by(keys):
            names = ", ".join(f"{name} ({key_id.hex()})" for name, key_id, _signature in note.signatures)
            raise NoteRefused(_("signed by %(names)s: not a trusted key") % {"names": names or _("nobody")})
        return cls.parse(note.text)


def _signed_at(lines: Sequence[str]) -> datetime | None:
    for line in lines:
        if line.startswith("time "):
            try:
                return datetime.strptime(line[5:], "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)
            except ValueError:
                raise NoteRefused(_("%(line)s gives no time") % {"line": repr(line)}) from None
    return None

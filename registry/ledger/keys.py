"""The key that signs checkpoints: where it lives, and how another takes its place.

An Ed25519 private key (PEM, PKCS #8) from ``LOG_SIGNING_KEY`` or, without it,
from ``log-signing-key.pem`` in the data folder, made on first use. It is never
in the database: whoever has only the database cannot sign a checkpoint.

Rotation: the next key becomes the signing key and the one before stays beside
it (``LOG_SIGNING_KEY_BEFORE`` or ``log-signing-key.before.pem``) for one
checkpoint, which both sign. That checkpoint hands over from key to key.
"""

from __future__ import annotations

import hashlib
import os
from contextlib import suppress
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)

from registry.database import data_folder
from registry.ledger.memory import CannotSign
from registry.ledger.notes import Signer

CURRENT = "log-signing-key"
BEFORE = "log-signing-key.before"


class UnusableKey(CannotSign):
    """The signing key is missing or is no Ed25519 key in PEM."""


def origin() -> str:
    """The log's name for ever: ``LOG_ORIGIN``, a host name and path without a scheme, or one made for this folder."""
    given = os.environ.get("LOG_ORIGIN")
    if given:
        return given
    unique = hashlib.sha256(data_folder.secret("log-origin").encode()).hexdigest()[:12]
    return f"crew-registry.invalid/{unique}"


def signers() -> list[Signer]:
    """Who signs a checkpoint now: the current key, then the one before while it is still there."""
    current = _from_environment("LOG_SIGNING_KEY") or _own()
    before = _from_environment("LOG_SIGNING_KEY_BEFORE") or (_from_folder(BEFORE) if rotating() else None)
    return [Signer(origin(), each) for each in (current, before) if each is not None]


def from_environment() -> bool:
    """Whether the signing key is given by ``LOG_SIGNING_KEY`` rather than kept in the data folder."""
    return bool(os.environ.get("LOG_SIGNING_KEY"))


def rotating() -> bool:
    """Whether a rotation in the data folder was begun and not finished."""
    before, current = _path(BEFORE), _path(CURRENT)
    # Interrupted at the very beginning, both are still the one key.
    return before.exists() and not (current.exists() and current.read_bytes() == before.read_bytes())


def rotate() -> Signer:
    """Make the next key; the one in use becomes the one before. Only for keys in the data folder."""
    if from_environment():
        raise UnusableKey("The signing key comes from LOG_SIGNING_KEY: change it there (see DEVELOPERS.md).")
    _own()
    # The current key is never away, not for a moment: another process would miss it.
    with suppress(FileExistsError):
        os.link(_path(CURRENT), _path(BEFORE))
    data_folder.replace_file(_path(CURRENT), _new_key())
    return Signer(origin(), _own())


def retire_the_one_before() -> Path | None:
    """Put the key before out of use; the file stays until its keeper destroys or archives it."""
    path = _path(BEFORE)
    if not path.exists():
        return None
    key_id = Signer(origin(), _read(path.read_bytes(), path.name)).verifier_key.key_id.hex()
    return path.rename(path.with_name(f"{CURRENT}.{key_id}.retired.pem"))


def _path(name: str) -> Path:
    return data_folder.locate() / f"{name}.pem"


def _from_environment(name: str) -> Ed25519PrivateKey | None:
    given = os.environ.get(name)
    return None if not given else _read(given.encode(), name)


def _from_folder(name: str) -> Ed25519PrivateKey | None:
    path = _path(name)
    return _read(path.read_bytes(), path.name) if path.exists() else None


def _own() -> Ed25519PrivateKey:
    """The folder's own key, made on first use and never again."""
    path = data_folder.kept(f"{CURRENT}.pem", _new_key)
    return _read(path.read_bytes(), path.name)


def _new_key() -> bytes:
    return Ed25519PrivateKey.generate().private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())


def _read(pem: bytes, where: str) -> Ed25519PrivateKey:
    try:
        key = load_pem_private_key(pem, password=None)
    except (ValueError, TypeError) as error:
        raise UnusableKey(f"{where} holds no unencrypted PEM key: {error}") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise UnusableKey(f"{where} holds a key of another kind than Ed25519.")
    return key

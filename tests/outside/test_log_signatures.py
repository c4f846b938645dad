"""Signatures against RFC 8032, and notes against the published example of the signed-note form."""

from __future__ import annotations

from base64 import b64decode

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from registry.ledger.notes import Note, NoteRefused, Signer, VerifierKey, signed_note
from tests.ledger.bundles import program

# RFC 8032, section 7.1, tests 1 to 3: secret key, public key, message, signature.
VECTORS = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46b"
        "d25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c"
        "387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc659"
        "4a7c15e9716ed28dc027beceea1ec40a",
    ),
]

# The example of the C2SP signed-note specification, also in the tests of Go's golang.org/x/mod/sumdb/note.
PETER = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"
PETERS_SEED = b64decode("AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz")[1:]
TEXT = "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n"
NOTE = (
    f"{TEXT}\n\u2014 PeterNeumann "
    "x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM=\n"
)


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_the_vectors_of_rfc_8032(secret: str, public: str, message: str, signature: str) -> None:
    signer = Signer("registry.example/log", Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret)))
    assert signer.verifier_key.public.hex() == public
    assert signer.private.sign(bytes.fromhex(message)).hex() == signature


def test_a_note_carries_the_signature_of_rfc_8032() -> None:
    """Test 2 signs one byte that is a character, and so can be a text of ours."""
    secret, public, message, signature = VECTORS[1]
    text = bytes.fromhex(message).decode()
    signer = Signer("registry.example/log", Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret)))
    encoded = signer.signature_line(text).split()[-1]
    assert b64decode(encoded)[4:].hex() == signature
    key = VerifierKey("registry.example/log", bytes.fromhex(public))
    assert Note(text, (("registry.example/log", key.key_id, bytes.fromhex(signature)),)).signed_by([key]) == [key]


def test_the_published_key_is_read_and_written() -> None:
    assert str(VerifierKey.parse(PETER)) == PETER
    key = program().Key.parse(PETER)
    assert (key.name, key.number.hex(), key.public) == ("PeterNeumann", "c74f20a3", VerifierKey.parse(PETER).public)


def test_the_published_note_is_what_we_would_sign() -> None:
    signer = Signer("PeterNeumann", Ed25519PrivateKey.from_private_bytes(PETERS_SEED))
    assert str(signer.verifier_key) == PETER
    assert signed_note(TEXT, [signer]) == NOTE


def test_the_published_note_is_found_signed() -> None:
    note = Note.parse(NOTE)
    assert note.text == TEXT
    assert note.signed_by([VerifierKey.parse(PETER)]) == [VerifierKey.parse(PETER)]


def test_the_published_note_changed_by_a_letter_is_not() -> None:
    with pytest.raises(NoteRefused):
        Note.parse(NOTE.replace("answer", "Answer")).signed_by([VerifierKey.parse(PETER)])


@pytest.mark.parametrize("place", range(len(PETER)))
def test_a_key_mistyped_in_any_place_is_refused(place: int) -> None:
    mistyped = PETER[:place] + chr(ord(PETER[place]) + 1) + PETER[place + 1 :]
    with pytest.raises(NoteRefused):
        VerifierKey.parse(mistyped)
    with pytest.raises(program().Unreadable):
        program().Key.parse(mistyped)

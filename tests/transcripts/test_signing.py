"""Signatures are checked by pyHanko's own validation, which the registry does not use to sign."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path

import pytest
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ed25519
from cryptography.x509.oid import NameOID
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko.sign.validation.status import PdfSignatureStatus, SignatureCoverageLevel
from pyhanko_certvalidator import ValidationContext

from registry.transcripts import signing
from registry.transcripts.printing import render

SIGNED_AT = datetime(2025, 3, 4, 5, 6, 7, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _own_data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REGISTRY_DATA", str(tmp_path / "data"))
    for name in ("KEY", "CERTIFICATES", "TIMESTAMP_URL"):
        monkeypatch.delenv(f"DOCUMENT_SIGNING_{name}", raising=False)


@pytest.fixture(scope="module")
def page() -> bytes:
    return render(template="base.html", context={}, language="en", created_at=SIGNED_AT)


def checked(pdf: bytes, trusted: bytes, at: datetime = SIGNED_AT) -> PdfSignatureStatus:
    [signature] = PdfFileReader(BytesIO(pdf)).embedded_signatures
    context = ValidationContext(trust_roots=[asn1_x509.Certificate.load(trusted)], moment=at, allow_fetching=False)
    return validate_pdf_signature(signature, context)


def test_signature_is_intact_trusted_and_covers_the_whole_file(page: bytes) -> None:
    signed = signing.sign(page, signed_at=SIGNED_AT)
    status = checked(signed, signing.identity_at(SIGNED_AT).certificate)
    assert status.bottom_line
    assert status.coverage is SignatureCoverageLevel.ENTIRE_FILE


def test_signature_is_pades_and_says_the_instant_it_was_given(page: bytes) -> None:
    [signature] = PdfFileReader(BytesIO(signing.sign(page, signed_at=SIGNED_AT))).embedded_signatures
    assert signature.sig_object["/SubFilter"] == "/ETSI.CAdES.detached"
    assert signature.self_reported_timestamp == SIGNED_AT


def test_signed_document_starts_with_the_unsigned_one(page: bytes) -> None:
    assert signing.sign(page, signed_at=SIGNED_AT).startswith(page)


@pytest.mark.parametrize("part", [0.02, 0.3, 0.6, 0.9])
def test_one_changed_byte_is_found(page: bytes, part: float) -> None:
    signed = bytearray(signing.sign(page, signed_at=SIGNED_AT))
    signed[int(len(page) * part)] ^= 1
    try:
        found = checked(bytes(signed), signing.identity_at(SIGNED_AT).certificate).bottom_line
    except Exception:  # the change may also have made the file unreadable
        found = False
    assert not found


def test_another_registrys_certificate_does_not_verify(
    page: bytes, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    signed = signing.sign(page, signed_at=SIGNED_AT)
    monkeypatch.setenv("REGISTRY_DATA", str(tmp_path / "other"))
    assert not checked(signed, signing.identity_at(SIGNED_AT).certificate).bottom_line


def test_key_is_made_once_and_only_its_owner_reads_it(tmp_path: Path) -> None:
    first = signing.identity_at(SIGNED_AT)
    assert signing.identity_at(SIGNED_AT + timedelta(days=400)) == first
    assert os.stat(tmp_path / "data" / signing.OWN).st_mode & 0o777 == 0o600


def test_certificate_to_give_away_holds_no_key() -> None:
    given = signing.certificate_at(SIGNED_AT)
    assert b"PRIVATE" not in given
    [certificate] = x509.load_pem_x509_certificates(given)
    assert certificate.public_bytes(serialization.Encoding.DER) == signing.identity_at(SIGNED_AT).certificate


def own_key(folder: Path, monkeypatch: pytest.MonkeyPatch) -> bytes:
    """An authority's Ed25519 certificate for a key of one's own; returns the authority's certificate."""
    authority, own = ed25519.Ed25519PrivateKey.generate(), ed25519.Ed25519PrivateKey.generate()
    root, leaf = named("Invented Authority"), named("Halvorsby Tower Works")
    top = certificate(root, root, authority, authority, authority_of_others=True)
    mine = certificate(leaf, root, own, authority)
    pem = serialization.Encoding.PEM
    key = own.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    (folder / "key.pem").write_bytes(key)
    (folder / "chain.pem").write_bytes(mine.public_bytes(pem) + top.public_bytes(pem))
    monkeypatch.setenv("DOCUMENT_SIGNING_KEY", str(folder / "key.pem"))
    monkeypatch.setenv("DOCUMENT_SIGNING_CERTIFICATES", str(folder / "chain.pem"))
    return top.public_bytes(serialization.Encoding.DER)


def named(name: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])


def certificate(
    subject: x509.Name,
    issuer: x509.Name,
    key: ed25519.Ed25519PrivateKey,
    signed_by: ed25519.Ed25519PrivateKey,
    *,
    authority_of_others: bool = False,
) -> x509.Certificate:
    usage = x509.KeyUsage(
        digital_signature=True,
        content_commitment=True,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=authority_of_others,
        crl_sign=authority_of_others,
        encipher_only=False,
        decipher_only=False,
    )
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(SIGNED_AT - timedelta(days=30))
        .not_valid_after(SIGNED_AT + timedelta(days=300))
        .add_extension(x509.BasicConstraints(ca=authority_of_others, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .sign(signed_by, None)
    )


def test_own_key_and_chain_are_used(page: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    root = own_key(tmp_path, monkeypatch)
    assert checked(signing.sign(page, signed_at=SIGNED_AT), root).bottom_line
    assert not (tmp_path / "data" / signing.OWN).exists()


def test_key_without_certificate_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_key(tmp_path, monkeypatch)
    monkeypatch.delenv("DOCUMENT_SIGNING_CERTIFICATES")
    with pytest.raises(signing.UnusableSigningKey, match="both"):
        signing.identity_at(SIGNED_AT)


def test_certificate_of_another_key_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_key(tmp_path, monkeypatch)
    pem = serialization.Encoding.PEM
    other = ed25519.Ed25519PrivateKey.generate()
    (tmp_path / "key.pem").write_bytes(
        other.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    )
    with pytest.raises(signing.UnusableSigningKey, match="not that of the key"):
        signing.identity_at(SIGNED_AT)


def test_unreadable_key_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_key(tmp_path, monkeypatch)
    (tmp_path / "key.pem").write_text("nothing")
    with pytest.raises(signing.UnusableSigningKey, match="cannot be read"):
        signing.identity_at(SIGNED_AT)

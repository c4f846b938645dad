"""The signature on printed documents: PAdES, by the registry's document-signing key.

When it first signs, the registry issues itself a key (ECDSA on P-256) and a
certificate for ten years, and keeps both in ``document-signing.pem`` in the data
folder, readable by its owner alone. Whoever verifies needs the certificate
(:func:`certificate_at`): a signature by a self-issued certificate proves that a
document is as this registry printed it to those who got the certificate from
the registry itself.

For a key of your own, name PEM files in the environment:

``DOCUMENT_SIGNING_KEY``
    the private key (RSA, ECDSA or Ed25519), unencrypted;
``DOCUMENT_SIGNING_CERTIFICATES``
    its certificate, followed by those that issued it;
``DOCUMENT_SIGNING_TIMESTAMP_URL``
    a time-stamping service (RFC 3161). With it the signatures are PAdES B-T and
    signing needs the network; without it they are B-B.

To change the key, name other files, or move the file out of the data folder.
Documents signed before stay valid under the old certificate: keep it.
"""

from __future__ import annotations

import os
from datetime import datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any, NamedTuple

from asn1crypto import keys as asn1_keys
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import PdfSignatureMetadata, PdfSigner, SimpleSigner
from pyhanko.sign.fields import MDPPerm, SigSeedSubFilter
from pyhanko.sign.timestamps import HTTPTimeStamper
from pyhanko_certvalidator.registry import SimpleCertificateStore

from registry.database import data_folder

OWN = "document-signing.pem"
FIELD = "Registry"
ISSUED_FOR = timedelta(days=3652)
EARLIER = timedelta(days=1)


class UnusableSigningKey(RuntimeError):
    """The key and certificate named in the settings cannot sign."""


class Identity(NamedTuple):
    """A private key in PKCS 8 (DER), its certificate and those that issued it (DER)."""

    key: bytes
    certificate: bytes
    issuers: tuple[bytes, ...]


class _SignerAt(PdfSigner):
    """Signs as of an instant that it is given."""

    def __init__(self, *arguments: Any, signed_at: datetime, **more: Any) -> None:
        super().__init__(*arguments, **more)
        self._signed_at = signed_at

    def init_signing_session(self, *arguments: Any, **more: Any) -> Any:
        session = super().init_signing_session(*arguments, **more)
        session.system_time = self._signed_at
        return session


def sign(pdf: bytes, *, signed_at: datetime, reason: str = "") -> bytes:
    """``pdf`` with a PAdES signature dated ``signed_at``, which certifies that nothing may change.

    Raises :class:`UnusableSigningKey`.
    """
    identity = identity_at(signed_at)
    key = asn1_keys.PrivateKeyInfo.load(identity.key)
    signer = SimpleSigner(
        signing_cert=asn1_x509.Certificate.load(identity.certificate),
        signing_key=key,
        cert_registry=SimpleCertificateStore.from_certs(
            [asn1_x509.Certificate.load(each) for each in identity.issuers]
        ),
    )
    stamp_at = os.environ.get("DOCUMENT_SIGNING_TIMESTAMP_URL")
    meta = PdfSignatureMetadata(
        field_name=FIELD,
        subfilter=SigSeedSubFilter.PADES,
        # Ed25519 is bound to SHA-512 (RFC 8419, 3.1).
        md_algorithm="sha512" if key.algorithm == "ed25519" else "sha256",
        reason=reason or None,
        certify=True,
        docmdp_permissions=MDPPerm.NO_CHANGES,
    )
    pdf_signer = _SignerAt(
        meta, signer, timestamper=HTTPTimeStamper(stamp_at) if stamp_at else None, signed_at=signed_at
    )
    signed: BytesIO = pdf_signer.sign_pdf(IncrementalPdfFileWriter(BytesIO(pdf)))
    return signed.getvalue()


def identity_at(instant: datetime) -> Identity:
    """The key and certificates to sign with; issued now, as of ``instant``, where there are none."""
    key_file = os.environ.get("DOCUMENT_SIGNING_KEY")
    certificate_file = os.environ.get("DOCUMENT_SIGNING_CERTIFICATES")
    if key_file and certificate_file:
        return _read(Path(key_file), Path(certificate_file))
    if key_file or certificate_file:
        raise UnusableSigningKey("Set both DOCUMENT_SIGNING_KEY and DOCUMENT_SIGNING_CERTIFICATES, or neither.")
    own = data_folder.kept(OWN, lambda: _issued(instant))
    return _read(own, own)


def certificate_at(instant: datetime) -> bytes:
    """The certificate to give to whoever verifies, in PEM."""
    certificate = x509.load_der_x509_certificate(identity_at(instant).certificate)
    return certificate.public_bytes(serialization.Encoding.PEM)


def _read(key_file: Path, certificate_file: Path) -> Identity:
    try:
        key = serialization.load_pem_private_key(key_file.read_bytes(), password=None)
        certificates = x509.load_pem_x509_certificates(certificate_file.read_bytes())
    except (OSError, TypeError, ValueError) as error:
        raise UnusableSigningKey(f"The document-signing key or certificate cannot be read: {error}") from error
    if certificates[0].public_key() != key.public_key():
        raise UnusableSigningKey("The first document-signing certificate is not that of the key.")
    return Identity(
        key.private_bytes(serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()),
        certificates[0].public_bytes(serialization.Encoding.DER),
        tuple(each.public_bytes(serialization.Encoding.DER) for each in certificates[1:]),
    )


def _issued(instant: datetime) -> bytes:
    """A new key with a certificate of its own, in PEM."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Crew competency registry, document signing")])
    usage = dict.fromkeys(("key_encipherment", "data_encipherment", "key_agreement", "key_cert_sign"), False)
    usage |= {"crl_sign": False, "encipher_only": False, "decipher_only": False}
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(instant - EARLIER)
        .not_valid_after(instant + ISSUED_FOR)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.KeyUsage(digital_signature=True, content_commitment=True, **usage), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    private = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return private + certificate.public_bytes(serialization.Encoding.PEM)

"""A small certificate authority of the mill's own, so that phones in its network get https.

Its name constraints limit it to private addresses and local names, so that a thief of its key could not
impersonate a public site to a phone that trusts it.
"""

from __future__ import annotations

import ipaddress
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

AUTHORITY_LASTS = timedelta(days=3650)
CERTIFICATE_LASTS = timedelta(days=397)
"""Browsers accept certificates of public authorities for 398 days, phones those of private ones for 825 (from
memory)."""
RENEWED_BEFORE = timedelta(days=30)
NETWORKS = tuple(
    ipaddress.ip_network(net)
    for net in ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "127.0.0.0/8", "fc00::/7", "::1/128")
)
LOCAL_NAMES = ("localhost", "local", "lan", "home.arpa", "internal")
NAME = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Wearlog of this mill")])


@dataclass(frozen=True)
class CertificateFiles:
    """The paths of three PEM files: the authority's certificate, which phones must trust, and the server's
    certificate and private key."""

    authority: Path
    certificate: Path
    key: Path


def fingerprint(path: Path) -> str:
    """SHA-256 of the certificate, as phones show it."""
    found = x509.load_pem_x509_certificate(path.read_bytes()).fingerprint(hashes.SHA256())
    return found.hex(":").upper()


def certificate_files(*, folder: Path, hosts: Sequence[str], at: datetime) -> CertificateFiles:
    """Return the certificate files for these hosts. They are made anew where they are missing, name other
    hosts or expire within a month.

    The authority is kept for ten years, so that each phone has to trust it only once. Public hosts are left
    out. Raises ValueError where a file that exists is not a certificate.
    """
    made = CertificateFiles(folder / "authority.crt", folder / "server.crt", folder / "server.key")
    found = [name_of(host.strip("[]")) for host in dict.fromkeys(hosts)]
    names = list(dict.fromkeys(name for name in found if name is not None))
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    secret = folder / "authority.key"
    if not secret.exists() or not made.authority.exists():
        make_authority(made.authority, secret, at=at)
    if not is_current(made, names, at=at):
        make_certificate(made, secret, names, at=at)
    return made


def name_of(host: str) -> x509.GeneralName | None:
    """The host as a certificate names it; None for a public one, whose certificate comes from a public
    authority."""
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        local = any(host == name or host.endswith(f".{name}") for name in LOCAL_NAMES)
        return x509.DNSName(host) if local and host.isascii() else None
    return x509.IPAddress(address) if any(address in net for net in NETWORKS) else None


def is_current(made: CertificateFiles, names: list[x509.GeneralName], *, at: datetime) -> bool:
    """Whether the certificate was issued by this authority, names these hosts and is valid for another
    month."""
    if not made.key.exists() or not made.certificate.exists():
        return False
    found = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    try:
        found.verify_directly_issued_by(x509.load_pem_x509_certificate(made.authority.read_bytes()))
    except InvalidSignature:
        return False
    named = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return set(names) <= set(named) and found.not_valid_after_utc > at + RENEWED_BEFORE


def make_authority(path: Path, secret: Path, *, at: datetime) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    allowed: list[x509.GeneralName] = [x509.IPAddress(net) for net in NETWORKS]
    allowed += [x509.DNSName(name) for name in LOCAL_NAMES]
    builder = (
        certificate_builder(NAME, key, at=at, lasts=AUTHORITY_LASTS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage(signs=True), critical=True)
        .add_extension(
            x509.NameConstraints(permitted_subtrees=allowed, excluded_subtrees=None), critical=True
        )
    )
    write(secret, pem(key), 0o600)
    write(path, builder.sign(key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM), 0o644)


def make_certificate(
    made: CertificateFiles, secret: Path, names: list[x509.GeneralName], *, at: datetime
) -> None:
    signer = serialization.load_pem_private_key(secret.read_bytes(), None)
    assert isinstance(signer, ec.EllipticCurvePrivateKey)
    key = ec.generate_private_key(ec.SECP256R1())
    server = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Wearlog")])
    builder = (
        certificate_builder(server, key, at=at, lasts=CERTIFICATE_LASTS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage(signs=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False
        )
    )
    write(made.key, pem(key), 0o600)
    write(
        made.certificate,
        builder.sign(signer, hashes.SHA256()).public_bytes(serialization.Encoding.PEM),
        0o644,
    )


def certificate_builder(
    subject: x509.Name, key: ec.EllipticCurvePrivateKey, *, at: datetime, lasts: timedelta
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(NAME)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(at - timedelta(days=1))  # a phone's clock may be behind
        .not_valid_after(at + lasts)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def usage(*, signs: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=True,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs,
        crl_sign=signs,
        encipher_only=False,
        decipher_only=False,
    )


def pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def write(path: Path, content: bytes, mode: int) -> None:
    path.unlink(missing_ok=True)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as stream:
        stream.write(content)

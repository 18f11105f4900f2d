"""A private authority and the broker's certificate, by which stations and host know that it is the right one.

Made with the `cryptography` library. The extensions are those that a strict reader of RFC 5280 asks for.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

# Our choice: a board without a clock wakes up in the past, and must trust its broker there, too.
FROM_AT = datetime(2000, 1, 1, tzinfo=UTC)
# Our choice: longer than any board lives. Nobody renews a certificate up a tree, and nobody else trusts this one.
LASTS = timedelta(days=20 * 365)


@dataclass(frozen=True, slots=True)
class Paper:
    """A certificate and its private key, as PEM."""

    certificate: bytes
    key: bytes


@dataclass(frozen=True, slots=True)
class Papers:
    """The authority's own and the broker's, and until when they hold, aware UTC."""

    authority: Paper
    broker: Paper
    until_at: datetime


def papers(hosts: Sequence[str], now: datetime) -> Papers:
    """Return a new authority and a certificate by it for a broker.

    Parameters
    ----------
    hosts : sequence of str
        Every name and address by which the broker is reached.
    now : datetime
        Aware UTC.
    """
    until_at = now + LASTS
    root_key, key = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    root_name = _name("swapbell: authority of a broker")
    root = _signed(_root(root_name, root_key), root_key, until_at)
    own = _leaf(_name("swapbell: broker"), root_name, key, hosts)
    vouched = own.add_extension(
        x509.AuthorityKeyIdentifier.from_issuer_public_key(root_key.public_key()), critical=False
    )
    return Papers(_paper(root, root_key), _paper(_signed(vouched, root_key, until_at), key), until_at)


def _root(name: x509.Name, key: ec.EllipticCurvePrivateKey) -> x509.CertificateBuilder:
    plain = x509.CertificateBuilder(name, name, key.public_key())
    return (
        plain.add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_others=True), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _leaf(
    name: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, hosts: Sequence[str]
) -> x509.CertificateBuilder:
    plain = x509.CertificateBuilder(issuer, name, key.public_key())
    return (
        plain.add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_others=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([_reached(host) for host in hosts]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _usage(*, signs_others: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_others,
        key_cert_sign=signs_others,
        crl_sign=signs_others,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _signed(made: x509.CertificateBuilder, by: ec.EllipticCurvePrivateKey, until_at: datetime) -> x509.Certificate:
    dated = made.not_valid_before(FROM_AT).not_valid_after(until_at).serial_number(x509.random_serial_number())
    return dated.sign(by, hashes.SHA256())


def _paper(certificate: x509.Certificate, key: ec.EllipticCurvePrivateKey) -> Paper:
    pem = serialization.Encoding.PEM
    open_key = key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    return Paper(certificate.public_bytes(pem), open_key)


def _name(common: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common)])


def _reached(host: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ip_address(host))
    except ValueError:
        return x509.DNSName(host)

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
# Our choice: the authority, which every station knows, outlives any board: nobody renews it up a tree, nobody else
# trusts it. The broker's certificate lasts half as long: it can be renewed by the same authority.
AUTHORITY_LASTS, BROKER_LASTS = timedelta(days=40 * 365), timedelta(days=20 * 365)


@dataclass(frozen=True, slots=True)
class Paper:
    """A certificate and its private key, as PEM."""

    certificate: bytes
    key: bytes


def founded(now: datetime) -> Paper:
    """Return a new authority, at `now` (aware UTC)."""
    key, name = ec.generate_private_key(ec.SECP256R1()), _name("swapbell: authority of a broker")
    return Paper(_pem(_signed(_root(name, key), key, now + AUTHORITY_LASTS)), _key_pem(key))


def vouched(authority: Paper, hosts: Sequence[str], now: datetime, key: bytes | None = None) -> Paper:
    """Return a certificate by the authority for a broker, which ends no later than the authority.

    Parameters
    ----------
    authority : Paper
        Whose word it is.
    hosts : sequence of str
        Every name and address by which the broker is reached.
    now : datetime
        Aware UTC.
    key : bytes, optional
        The broker's key, as PEM, if it has one already.

    Raises
    ------
    ValueError
        If something of the authority cannot be read, or its key is another's.
    """
    root, root_key = x509.load_pem_x509_certificate(authority.certificate), _key(authority.key)
    if root.public_key() != root_key.public_key():
        raise ValueError("the key is not that of the certificate")
    own_key = _key(key) if key else ec.generate_private_key(ec.SECP256R1())
    leaf = _leaf(_name("swapbell: broker"), root.subject, own_key, hosts).add_extension(
        x509.AuthorityKeyIdentifier.from_issuer_public_key(root_key.public_key()), critical=False
    )
    until_at = min(now + BROKER_LASTS, root.not_valid_after_utc)
    return Paper(_pem(_signed(leaf, root_key, until_at)), _key_pem(own_key))


def until(certificate: bytes) -> datetime:
    """Return when a certificate (PEM) ends, aware UTC."""
    return x509.load_pem_x509_certificate(certificate).not_valid_after_utc


def named(certificate: bytes) -> tuple[str, ...]:
    """Return the names and addresses for which a certificate (PEM) of a broker stands, in their order."""
    found = x509.load_pem_x509_certificate(certificate).extensions.get_extension_for_class(
        x509.SubjectAlternativeName
    )
    return tuple(str(each.value) for each in found.value)


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


def _pem(certificate: x509.Certificate) -> bytes:
    return certificate.public_bytes(serialization.Encoding.PEM)


def _key_pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _key(pem: bytes) -> ec.EllipticCurvePrivateKey:
    match serialization.load_pem_private_key(pem, None):
        case ec.EllipticCurvePrivateKey() as key:
            return key
        case _:
            raise ValueError("it is no key of a kit")


def _name(common: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common)])


def _reached(host: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ip_address(host))
    except ValueError:
        return x509.DNSName(host)

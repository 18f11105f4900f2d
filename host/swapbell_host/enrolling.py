"""A station's own files, ready to be carried to it, and what the broker is told of it."""

import io
import secrets
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path

import msgspec

from swapbell_host.config import BrokerSection
from swapbell_host.intake import Station as Key
from swapbell_host.jobs import enrolment
from swapbell_host.jobs.enrolment import Credentials
from swapbell_models.fault import Breakdown, Mistake

# A file that its owner alone may read, in the upper half of a zip's attributes (PKWARE APPNOTE 6.3, 4.4.15).
_PRIVATE = 0o100600 << 16


@dataclass(frozen=True, slots=True)
class Parcel:
    """What is carried to a station.

    Attributes
    ----------
    credentials
        Its leave at the broker; the password is nowhere but here and in the files.
    files
        Content of each file by its name.
    """

    credentials: Credentials
    files: Mapping[str, bytes]

    def zipped(self) -> bytes:
        """Return the files in a folder of the station's name, as one file."""
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, content in self.files.items():
                entry = zipfile.ZipInfo(f"{self.credentials.username}/{name}")
                entry.external_attr = _PRIVATE
                archive.writestr(entry, content)
        return packed.getvalue()


def parcel(key: Key, broker: BrokerSection, broker_host: str | None, clip: str | None) -> Parcel:
    """Return a station's files with a new password.

    Parameters
    ----------
    key : (site, station)
        Whose.
    broker : BrokerSection
        The broker as the host reaches it.
    broker_host : str, optional
        Its name or address as the station reaches it; the same, if not said.
    clip : str or None
        A clip that its counter counts, in place of a camera.

    Raises
    ------
    Mistake
        If the broker is named as no station can reach it.
    Breakdown
        If the certificate of the broker's authority cannot be read.
    """
    reached = _reachable(broker, broker_host)
    return packed(key, reached, clip, _read(Path(broker.ca_file)) if broker.ca_file is not None else None)


def packed(key: Key, broker: BrokerSection, clip: str | None, certificate: bytes | None) -> Parcel:
    """Return a station's files with a new password, given the broker as the station reaches it.

    Parameters
    ----------
    key, broker, clip
        As in `parcel`.
    certificate : bytes or None
        Of the authority that vouches for the broker; nothing where the connection is not encrypted.
    """
    given = fresh(key)
    files = {
        enrolment.CONFIG_FILE: enrolment.device_config(key, broker, clip).encode(),
        enrolment.KEY_FILE: f"{given.password}\n".encode(),
    }
    if certificate is not None:
        files[enrolment.CA_FILE] = certificate
    return Parcel(given, files)


def fresh(station: Key) -> Credentials:
    """Return new credentials of a station; the password is nowhere else."""
    password = secrets.token_urlsafe(enrolment.PASSWORD_BYTES)
    return enrolment.credentials(station, password, secrets.token_bytes(enrolment.SALT_BYTES))


def _reachable(broker: BrokerSection, host: str | None) -> BrokerSection:
    """Return the broker as a station reaches it: what is this machine here is not it there."""
    named = host or broker.host
    if host is None and is_here(named):
        raise Mistake(f"broker {named}: a station cannot reach it so; say its name or address there, as by --broker")
    return msgspec.structs.replace(broker, host=named)


def is_here(host: str) -> bool:
    """Tell whether a name or an address means the machine that says it."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise Breakdown(f"certificate {path}: {error.strerror}; put it back, or say ca_file anew") from error

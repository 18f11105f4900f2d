"""The kit's files: for the broker, the host, home automation and every station, each with a secret of its own."""

import re
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from ipaddress import ip_address

from swapbell_host.config import BrokerSection
from swapbell_host.enrolling import is_here, packed
from swapbell_host.intake import Station as Key
from swapbell_host.jobs import enrolment
from swapbell_host.jobs.plan import shown
from swapbell_host.kit import settings
from swapbell_host.kit.authority import papers
from swapbell_models.fault import Mistake

# RFC 1123, 2.1: labels of letters, digits and hyphens, with dots between.
_LABEL = r"[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?"
_NAME = re.compile(rf"(?=.{{1,253}}$){_LABEL}(\.{_LABEL})*")


@dataclass(frozen=True, slots=True)
class Kit:
    """What is carried to where.

    Attributes
    ----------
    files
        Content of each file by its name, the folder before it.
    until_at
        When the certificates end, aware UTC.
    """

    files: dict[str, bytes]
    until_at: datetime


def made(hosts: Sequence[str], stations: Sequence[Key], prefix: str | None, clip: str | None, now: datetime) -> Kit:
    """Return a kit with new secrets.

    Parameters
    ----------
    hosts : sequence of str
        Every name and address of the broker, first the one by which stations reach it.
    stations : sequence of (site, station)
        All of the plan.
    prefix : str or None
        Where home automation listens, if it is told of the stations.
    clip : str or None
        A clip that each counter counts, in place of a camera.
    now : datetime
        Aware UTC.

    Raises
    ------
    Mistake
        If a name cannot be one, or the first is one by which no station can reach the broker.
    """
    _check(hosts)
    vouched = papers(hosts, now)
    certificate = vouched.authority.certificate
    broker = BrokerSection(host=hosts[0], port=settings.PORT, ca_file=enrolment.CA_FILE)
    people = [settings.HOST, settings.AUDITOR, *([settings.VIEWER] if prefix is not None else [])]
    words = {name: secrets.token_urlsafe(enrolment.PASSWORD_BYTES) for name in people}
    parcels = [packed(key, broker, clip, certificate) for key in stations]
    lines = [_line(name, word) for name, word in words.items()]
    lines += [each.credentials.password_line for each in parcels]
    files = {
        "authority/ca.key": vouched.authority.key,
        f"broker/{enrolment.CA_FILE}": certificate,
        "broker/broker.pem": vouched.broker.certificate,
        "broker/broker.key": vouched.broker.key,
        "broker/passwords": "".join(f"{line}\n" for line in lines).encode(),
        "broker/access": settings.access(stations, prefix).encode(),
        "broker/broker.conf": settings.configuration().encode(),
        "broker/install.sh": settings.installer().encode(),
    }
    for name, word in words.items():
        files |= {f"{name}/{enrolment.KEY_FILE}": f"{word}\n".encode(), f"{name}/{enrolment.CA_FILE}": certificate}
    for each in parcels:
        files |= {f"stations/{each.credentials.username}/{name}": content for name, content in each.files.items()}
    return Kit(files, vouched.until_at)


def _line(name: str, word: str) -> str:
    return enrolment.password_line(name, word, secrets.token_bytes(enrolment.SALT_BYTES))


def _check(hosts: Sequence[str]) -> None:
    for host in hosts:
        if not (_is_address(host) or _NAME.fullmatch(host)):
            raise Mistake(f"--host must be a name or an address, such as 192.0.2.10, not {shown(host)}")
    if is_here(hosts[0]):
        raise Mistake(f"--host {hosts[0]}: no station can reach the broker so; say first how they do")


def _is_address(host: str) -> bool:
    try:
        ip_address(host)
    except ValueError:
        return False
    return True

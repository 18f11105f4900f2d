"""The kit's files: for the broker, the host, home automation and every station, each with a secret of its own.

A kit that is renewed keeps its authority, its broker's key and every password; whoever is new in the plan gets one.
"""

import re
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from ipaddress import ip_address

from swapbell_host.config import BrokerSection
from swapbell_host.enrolling import is_here, packed
from swapbell_host.intake import Station as Key
from swapbell_host.jobs import enrolment
from swapbell_host.jobs.plan import shown
from swapbell_host.kit import settings
from swapbell_host.kit.authority import Paper, founded, named, until, vouched
from swapbell_models.fault import Mistake

# RFC 1123, 2.1: labels of letters, digits and hyphens, with dots between.
_LABEL = r"[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?"
_NAME = re.compile(rf"(?=.{{1,253}}$){_LABEL}(\.{_LABEL})*")


AUTHORITY_KEY, AUTHORITY_PAPER = "authority/ca.key", f"broker/{enrolment.CA_FILE}"
BROKER_KEY, BROKER_PAPER, PASSWORDS = "broker/broker.key", "broker/broker.pem", "broker/passwords"


@dataclass(frozen=True, slots=True)
class Kit:
    """What is carried to where.

    Attributes
    ----------
    files
        Content of each file by its name, the folder before it; of a kit that is renewed only what is new in it.
    hosts
        Every name and address of the broker, first the one by which stations reach it.
    moved
        Whether that one is another than before.
    stations
        Those that get a folder.
    until_at, authority_until_at
        When the broker's certificate ends, and when the authority does, aware UTC.
    """

    files: dict[str, bytes]
    hosts: tuple[str, ...]
    moved: bool
    stations: tuple[Key, ...]
    until_at: datetime
    authority_until_at: datetime

    @property
    def newcomers(self) -> list[str]:
        """The folders that somebody gets now."""
        end = f"/{enrolment.KEY_FILE}"
        return [name.removesuffix(end) for name in self.files if name.endswith(end)]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a kit is to hold.

    Attributes
    ----------
    hosts
        Every name and address of the broker, first the one by which stations reach it; none to keep those of before.
    stations
        All of the plan, each a (site, station).
    prefix
        Where home automation listens, if it is told of the stations.
    clip
        A clip that each counter counts, in place of a camera.
    anew
        Those that get a new password although they have one.
    """

    hosts: Sequence[str]
    stations: Sequence[Key]
    prefix: str | None = None
    clip: str | None = None
    anew: Sequence[Key] = ()


def made(wanted: Wanted, before: Mapping[str, bytes], now: datetime) -> Kit:
    """Return a new kit, or what is new in one that is renewed, at `now` (aware UTC).

    Parameters
    ----------
    wanted : Wanted
        What it is to hold.
    before : mapping of str to bytes
        What `kit.keeping.kept` found.

    Raises
    ------
    Mistake
        If a name cannot be one, no station can reach the broker by the first, or the authority ended or is damaged.
    """
    old = _named(before)
    hosts = tuple(wanted.hosts) or old
    _check(hosts)
    authority = Paper(before[AUTHORITY_PAPER], before[AUTHORITY_KEY]) if before else founded(now)
    paper = _vouched(authority, hosts, now, before.get(BROKER_KEY))
    lines = _lines(before.get(PASSWORDS, b""), wanted.anew)
    fresh = tuple(key for key in wanted.stations if enrolment.username(key) not in lines)
    people = [settings.HOST, settings.AUDITOR, *([settings.VIEWER] if wanted.prefix is not None else [])]
    files = _stations(fresh, hosts[0], wanted.clip, authority.certificate, lines)
    files |= _people([name for name in people if name not in lines], authority.certificate, lines)
    files |= _papers(authority, paper) | _settings(wanted)
    known = [*people, *map(enrolment.username, wanted.stations)]
    # The last to be written: whoever has a line in it has a folder.
    files[PASSWORDS] = "".join(f"{lines[name]}\n" for name in known).encode()
    return Kit(
        files, hosts, old[:1] not in {(), hosts[:1]}, fresh, until(paper.certificate), until(authority.certificate)
    )


def _stations(
    keys: Sequence[Key], host: str, clip: str | None, certificate: bytes, lines: dict[str, str]
) -> dict[str, bytes]:
    """Return the folders of new stations, and note their lines in the password file."""
    broker = BrokerSection(host=host, port=settings.PORT, ca_file=enrolment.CA_FILE)
    parcels = [packed(key, broker, clip, certificate) for key in keys]
    given = {each.credentials.username: each for each in parcels}
    lines |= {name: each.credentials.password_line for name, each in given.items()}
    return {
        f"stations/{name}/{file}": content for name, each in given.items() for file, content in each.files.items()
    }


def _people(names: Sequence[str], certificate: bytes, lines: dict[str, str]) -> dict[str, bytes]:
    """Return the folders of those who are no stations, and note their lines in the password file."""
    words = {name: secrets.token_urlsafe(enrolment.PASSWORD_BYTES) for name in names}
    lines |= {
        name: enrolment.password_line(name, word, secrets.token_bytes(enrolment.SALT_BYTES))
        for name, word in words.items()
    }
    keys = {f"{name}/{enrolment.KEY_FILE}": f"{word}\n".encode() for name, word in words.items()}
    return keys | {f"{name}/{enrolment.CA_FILE}": certificate for name in names}


def _papers(authority: Paper, broker: Paper) -> dict[str, bytes]:
    return {
        AUTHORITY_KEY: authority.key,
        AUTHORITY_PAPER: authority.certificate,
        BROKER_KEY: broker.key,
        BROKER_PAPER: broker.certificate,
    }


def _settings(wanted: Wanted) -> dict[str, bytes]:
    return {
        "broker/access": settings.access(wanted.stations, wanted.prefix).encode(),
        "broker/broker.conf": settings.configuration().encode(),
        "broker/install.sh": settings.installer().encode(),
    }


def _lines(passwords: bytes, anew: Sequence[Key]) -> dict[str, str]:
    """Return the lines of a password file by the name in each, but of those who get a new one."""
    lines = {line.partition(":")[0]: line for line in passwords.decode().splitlines()}
    gone = set(map(enrolment.username, anew))
    return {name: line for name, line in lines.items() if name not in gone}


def _named(before: Mapping[str, bytes]) -> tuple[str, ...]:
    try:
        return named(before[BROKER_PAPER]) if before else ()
    except ValueError as error:
        raise Mistake(f"{BROKER_PAPER}: {error}; put a copy of it back, or make a kit in another folder") from error


def _vouched(authority: Paper, hosts: Sequence[str], now: datetime, key: bytes | None) -> Paper:
    elsewhere = "make a kit in another folder: every station needs its folder of that"
    try:
        if (until_at := until(authority.certificate)) <= now:
            raise Mistake(f"the authority ended on {until_at:%Y-%m-%d}; {elsewhere}")
        return vouched(authority, hosts, now, key)
    except ValueError as error:
        raise Mistake(f"{AUTHORITY_KEY}: {error}; put the right one back, or {elsewhere}") from error


def _check(hosts: Sequence[str]) -> None:
    if not hosts:
        raise Mistake("--host is missing: say the broker's name or address as stations reach it, such as 192.0.2.10")
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

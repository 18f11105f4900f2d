"""A station's own folder, ready to be carried to it, and what the broker is told of it."""

import secrets
import shutil
import tempfile
from dataclasses import replace
from ipaddress import ip_address
from pathlib import Path

import msgspec

from swapbell_host.config import BrokerSection
from swapbell_host.desk.opening import Desk
from swapbell_host.intake import Station as Key
from swapbell_host.jobs import enrolment
from swapbell_host.jobs.enrolment import Credentials
from swapbell_models.fault import Breakdown, Mistake


def fresh(station: Key) -> Credentials:
    """Return new credentials of a station; the password is nowhere else."""
    password = secrets.token_urlsafe(enrolment.PASSWORD_BYTES)
    return enrolment.credentials(station, password, secrets.token_bytes(enrolment.SALT_BYTES))


def enrol(desk: Desk, key: Key, parent: Path, broker_host: str | None, clip: str) -> str:
    """Make a station's folder, note that it is enrolled, and return what a person does next.

    Raises
    ------
    Mistake
        If there is no such station, its folder is there already, or the broker is named as no station can reach it.
    Breakdown
        If the folder cannot be written.
    """
    station = desk.plan.station(*key)
    broker = _reachable(desk.config.broker, broker_host)
    given, folder = fresh(key), parent / enrolment.username(key)
    _fill(folder, enrolment.device_config(key, broker, clip), given.password, broker.ca_file)
    desk.plan.change_station(replace(station, enrolled_at=desk.now))
    access = "\n".join(given.access_lines)
    return (
        f"made {folder}: carry it to the station, put {enrolment.STATION_FILE} beside it, and run there:\n"
        f"swapbell-device run --config {enrolment.CONFIG_FILE}\n\n"
        f"password of {given.username} at the broker, shown only now and kept in {enrolment.KEY_FILE}:\n"
        f"{given.password}\n\n"
        f"a line for mosquitto's password_file, in place of an older one of {given.username}:\n"
        f"{given.password_line}\n\n"
        f"lines for its acl_file, unless they are there already:\n{access}"
    )


def _reachable(broker: BrokerSection, host: str | None) -> BrokerSection:
    """Return the broker as a station reaches it: what is this machine here is not it there."""
    named = host or broker.host
    if host is None and _is_here(named):
        raise Mistake(f"broker {named}: a station cannot reach it so; say --broker with its name or address there")
    return msgspec.structs.replace(broker, host=named)


def _is_here(host: str) -> bool:
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _fill(folder: Path, config: str, password: str, ca_file: str | None) -> None:
    """Make a folder that is whole or not there, and open to nobody else."""
    if folder.exists():
        raise Mistake(f"folder {folder}: it is there already; put it aside or choose another --dir")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(dir=folder.parent, prefix="."))
        try:
            (part / enrolment.CONFIG_FILE).write_text(config, encoding="utf-8")
            (part / enrolment.KEY_FILE).touch(mode=0o600)
            (part / enrolment.KEY_FILE).write_text(password + "\n", encoding="utf-8")
            if ca_file is not None:
                shutil.copyfile(ca_file, part / enrolment.CA_FILE)
            part.replace(folder)
        finally:
            shutil.rmtree(part, ignore_errors=True)
    except OSError as error:
        where = error.filename or folder
        raise Breakdown(f"folder {folder}: {where}: {error.strerror}; make room or choose another --dir") from error

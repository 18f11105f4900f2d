"""A station's own folder, ready to be carried to it."""

import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from swapbell_host.desk.opening import Desk
from swapbell_host.enrolling import parcel
from swapbell_host.intake import Station as Key
from swapbell_host.jobs import enrolment
from swapbell_models.fault import Breakdown, Mistake


def enrol(desk: Desk, key: Key, parent: Path, broker_host: str | None, clip: str | None) -> str:
    """Make a station's folder, note that it is enrolled, and return what a person does next.

    Raises
    ------
    Mistake
        If there is no such station, its folder is there already, or the broker is named as no station can reach it.
    Breakdown
        If the folder cannot be written.
    """
    station = desk.plan.station(*key)
    made, folder = parcel(key, desk.config.broker, broker_host, clip), parent / enrolment.username(key)
    fill(folder, made.files)
    given = made.credentials
    desk.plan.change_station(replace(station, enrolled_at=desk.now))
    access = "\n".join(given.access_lines)
    return (
        f"made {folder}: carry it to the station, and there:\n"
        f"swapbell-device calibrate --config {enrolment.CONFIG_FILE}\n"
        f"swapbell-device run --config {enrolment.CONFIG_FILE}\n\n"
        f"password of {given.username} at the broker, shown only now and kept in {enrolment.KEY_FILE}:\n"
        f"{given.password}\n\n"
        f"a line for mosquitto's password_file, in place of an older one of {given.username}:\n"
        f"{given.password_line}\n\n"
        f"lines for its acl_file, unless they are there already:\n{access}"
    )


def fill(folder: Path, files: Mapping[str, bytes]) -> None:
    """Make a folder that is whole or not there, and open to nobody else; names may hold folders of their own."""
    if folder.exists():
        raise Mistake(f"folder {folder}: it is there already; put it aside or choose another --dir")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(dir=folder.parent, prefix="."))
        try:
            for name, content in files.items():
                (part / name).parent.mkdir(exist_ok=True, parents=True)
                (part / name).touch(mode=0o600)
                (part / name).write_bytes(content)
            part.replace(folder)
        finally:
            shutil.rmtree(part, ignore_errors=True)
    except OSError as error:
        where = error.filename or folder
        raise Breakdown(f"folder {folder}: {where}: {error.strerror}; make room or choose another --dir") from error

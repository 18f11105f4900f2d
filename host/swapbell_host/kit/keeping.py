"""A kit's folder on disk: read to be renewed, and written so that every file in it is whole at any moment."""

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from swapbell_host.kit.making import AUTHORITY_KEY, AUTHORITY_PAPER, BROKER_KEY, BROKER_PAPER, PASSWORDS
from swapbell_models.fault import Breakdown, Mistake

NEEDED = (AUTHORITY_KEY, AUTHORITY_PAPER, BROKER_KEY, BROKER_PAPER, PASSWORDS)


def kept(folder: Path) -> dict[str, bytes]:
    """Return what a kit keeps when it is renewed, by the file's name; nothing where there is no kit yet.

    Raises
    ------
    Mistake
        If the folder is there, but is no kit, or lacks what is kept elsewhere.
    Breakdown
        If a file cannot be read.
    """
    if not folder.exists():
        return {}
    if missing := [name for name in NEEDED if not (folder / name).is_file()]:
        raise Mistake(
            f"folder {folder}: it is there already, without {missing[0]}; put that back to renew the kit, "
            "or choose another folder"
        )
    try:
        return {name: (folder / name).read_bytes() for name in NEEDED}
    except OSError as error:
        raise Breakdown(f"folder {folder}: {error.filename}: {error.strerror}; make it readable") from error


def renew(folder: Path, files: Mapping[str, bytes]) -> None:
    """Put files into a kit that is there, one after the other, each whole and open to nobody else.

    Raises
    ------
    Breakdown
        If one cannot be written; what stood there before stands there still, and the same command goes on from there.
    """
    try:
        for name, content in files.items():
            _put(folder / name, content)
    except OSError as error:
        where = error.filename or folder
        raise Breakdown(f"folder {folder}: {where}: {error.strerror}; make room and renew it again") from error


def _put(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, part = tempfile.mkstemp(dir=path.parent, prefix=".")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(handle)
        Path(part).replace(path)
    finally:
        Path(part).unlink(missing_ok=True)

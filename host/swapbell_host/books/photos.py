"""Photos beside the ledger: each under a name that its content makes, so no name of a person's reaches a disk."""

import os
import tempfile
from hashlib import sha256
from pathlib import Path

from swapbell_models.fault import Breakdown, Mistake

# Our choice: a phone's photo has some 5 MB; ten times that is no photo.
PHOTO_MAX_BYTES = 50_000_000
# How files of these kinds begin: JPEG (ITU-T T.81, B.1.1.3), PNG (ISO/IEC 15948, 5.2).
KINDS = {b"\xff\xd8\xff": ".jpg", b"\x89PNG\r\n\x1a\n": ".png"}
# WebP (RFC 9649, 2.4) and HEIF (ISO/IEC 14496-12, 4.3) say what they are from their fifth or ninth byte on.
LATER = {(8, b"WEBP"): ".webp", (4, b"ftyphei"): ".heic", (4, b"ftypmif1"): ".heic"}


def keep(folder: Path, content: bytes) -> str:
    """Put a photo into the store and return its name there; the same photo is kept once.

    Parameters
    ----------
    folder : Path
        The store; it is made where it is missing.
    content : bytes
        A JPEG, PNG, WebP or HEIF of at most `PHOTO_MAX_BYTES`.

    Raises
    ------
    Mistake
        If it is too large, or no photo.
    Breakdown
        If it cannot be written.
    """
    if len(content) > PHOTO_MAX_BYTES:
        raise Mistake(f"photo: more than {PHOTO_MAX_BYTES // 1_000_000} MB; make it smaller")
    name = sha256(content).hexdigest() + _ending(content)
    try:
        if not (folder / name).exists():
            _write(folder, name, content)
    except OSError as error:
        raise Breakdown(f"photo store {folder}: {error.strerror}; make room or give it to who runs this") from error
    return name


def keep_file(folder: Path, path: Path) -> str:
    """Put a copy of a photo's file into the store and return its name there; raises as `keep` does."""
    try:
        with path.open("rb") as file:
            content = file.read(PHOTO_MAX_BYTES + 1)
    except OSError as error:
        raise Mistake(f"photo {path}: {error.strerror}; check the path") from error
    return keep(folder, content)


def _ending(content: bytes) -> str:
    for beginning, ending in KINDS.items():
        if content.startswith(beginning):
            return ending
    for (place, mark), ending in LATER.items():
        if content.startswith(mark, place):
            return ending
    raise Mistake("photo: neither a JPEG, PNG, WebP nor HEIF; convert it first")


def _write(folder: Path, name: str, content: bytes) -> None:
    """Write a file that is whole or not there."""
    folder.mkdir(parents=True, exist_ok=True)
    handle, part = tempfile.mkstemp(dir=folder, prefix=".")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(part).replace(folder / name)
    except OSError:
        Path(part).unlink(missing_ok=True)
        raise

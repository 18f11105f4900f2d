"""The spool's file: opened, checked to the last byte, and set aside if it is damaged.

Nothing is ever deleted: a damaged file stays under a dated name beside the new one, and what can still be read of it
is carried over. See decision 11.
"""

import sqlite3
import zlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from datetime import datetime
from pathlib import Path

from swapbell_device.spooling import wal
from swapbell_models.fault import Breakdown, Mistake

VERSION = 2
# Our choice: a tally without crossings takes about 250 bytes; with small pages a put writes little to the card.
PAGE_BYTES = 1024
# Our choice: at most about 256 KiB of log to replay after a power cut.
LOG_PAGES = 256
# Our choice: another process that is just ending gets this long to let go of the file.
LOCK_PATIENCE_S = 2.0

# `place` is the boot's number times 2**32 plus the seq: the order of sending, and one key. Of each boot: how many of
# its tallies were dropped, the highest seq ever put, and up to where the host has receipted it.
SCHEMA = f"""
BEGIN IMMEDIATE;
CREATE TABLE boot (
    number INTEGER PRIMARY KEY, name TEXT NOT NULL, dropped INTEGER NOT NULL, last INTEGER NOT NULL,
    through INTEGER NOT NULL, mark INTEGER NOT NULL);
CREATE TABLE tally (
    place INTEGER PRIMARY KEY, seconds REAL NOT NULL, payload BLOB NOT NULL, mark INTEGER NOT NULL);
PRAGMA user_version = {VERSION};
COMMIT;
"""
WRONG_MARKS = """
SELECT (SELECT count(*) FROM tally WHERE mark IS NOT mark_of(place, seconds, payload)
                                      OR place >> 32 NOT IN (SELECT number FROM boot))
     + (SELECT count(*) FROM boot WHERE mark IS NOT mark_of(number, name, dropped, last, through))
"""
READABLE = "SELECT payload FROM tally WHERE mark IS mark_of(place, seconds, payload) ORDER BY place "

# SQLite, "Result and Error Codes": the machine's troubles, which say nothing about the file's content.
MACHINE = {
    sqlite3.SQLITE_BUSY: "is in use by another process; stop that one, or give this one a spool of its own",
    sqlite3.SQLITE_LOCKED: "is in use by another process; stop that one, or give this one a spool of its own",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened; check the folder and its permissions",
    sqlite3.SQLITE_PERM: "cannot be opened; check its permissions",
    sqlite3.SQLITE_FULL: "has no room; free some space on its disk",
    sqlite3.SQLITE_IOERR: "cannot be read or written; check its disk",
    sqlite3.SQLITE_NOMEM: "needs more memory than there is",
    sqlite3.SQLITE_READONLY: "is read-only; check its permissions and how its disk is mounted",
}
# Python cannot even pass on SQLite's complaint when the damaged bytes that it quotes are not UTF-8.
UNREADABLE = (sqlite3.Error, UnicodeDecodeError)


class Damaged(Exception):
    """The file is not a whole spool of this version; the text says what is wrong."""


def open_file(path: Path, opened_at: datetime, say: Callable[[str], None]) -> tuple[sqlite3.Connection, Path | None]:
    """Open or begin a spool's file.

    Parameters
    ----------
    path : Path
        The file; its folder must exist.
    opened_at : datetime
        Dates the names of what is set aside.
    say : callable
        Told one line for everything that was set aside.

    Returns
    -------
    tuple
        The connection, ready to write, and the damaged file that was set aside, if one was.

    Raises
    ------
    Mistake
        If the folder does not exist.
    Breakdown
        If the machine does not let it be opened, or another process uses it.
    """
    check_folder(path)
    log = path.with_name(f"{path.name}-wal")
    left_over = log.read_bytes() if log.is_file() else b""
    db, aside = _opened(path, opened_at, say)
    if not wal.intact(left_over):
        copy = _kept(left_over, _dated(log, opened_at))
        say(f"spool {path}: its last writes were cut off or damaged; {copy}")
    return db, aside


def check_folder(path: Path) -> None:
    """Refuse a file whose folder does not exist.

    Raises
    ------
    Mistake
        If it does not.
    """
    if not path.parent.is_dir():
        raise Mistake(f"spool {path}: there is no folder {path.parent}; make it, or name another")


def _opened(path: Path, opened_at: datetime, say: Callable[[str], None]) -> tuple[sqlite3.Connection, Path | None]:
    try:
        return _checked(path), None
    except Damaged as damage:
        aside = _set_aside(path, opened_at)
        say(f"spool {path}: {damage}; set aside as {aside.name}, a new one begins with what can still be read")
    return _checked(path), aside


def readable(path: Path) -> Iterator[bytes]:
    """Yield the payloads that can still be read from a damaged file, from both its ends; some may come twice."""
    for order in ("ASC", "DESC"):
        try:
            with closing(_connected(path)) as db:
                yield from (payload for (payload,) in db.execute(READABLE + order))
        except UNREADABLE:
            continue


def mark_of(*fields: object) -> int:
    """Return the checksum of a row: SQLite itself keeps none in its main file."""
    return zlib.crc32(repr(fields).encode())


def trouble(error: Exception) -> str | None:
    """Return what the machine refused and the way out, or None if the file itself is at fault."""
    return MACHINE.get(getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF)


def _connected(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, timeout=LOCK_PATIENCE_S, isolation_level=None, check_same_thread=False)
    db.create_function("mark_of", -1, mark_of, deterministic=True)
    return db


def _checked(path: Path) -> sqlite3.Connection:
    try:
        with ExitStack() as unless_sound:
            db = unless_sound.enter_context(closing(_connected(path)))
            _prepare(db)
            _check(db)
            unless_sound.pop_all()
            return db
    except UNREADABLE as error:
        raise _fault(path, error) from error


def _fault(path: Path, error: Exception) -> Exception:
    refused = trouble(error)
    return Damaged(f"damaged ({error})") if refused is None else Breakdown(f"spool {path} {refused}")


def _prepare(db: sqlite3.Connection) -> None:
    for setting in (
        "locking_mode = EXCLUSIVE",
        f"page_size = {PAGE_BYTES}",
        "journal_mode = WAL",
        "synchronous = FULL",
        f"wal_autocheckpoint = {LOG_PAGES}",
        "journal_size_limit = 0",
    ):
        db.execute(f"PRAGMA {setting}").fetchall()
    if not db.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
        db.executescript(SCHEMA)


def _check(db: sqlite3.Connection) -> None:
    version = db.execute("PRAGMA user_version").fetchone()[0]
    if version != VERSION:
        raise Damaged(f"not a spool of version {VERSION} but {version}")
    findings = [finding for (finding,) in db.execute("PRAGMA integrity_check(1)")]
    if findings != ["ok"]:
        raise Damaged(f"damaged ({' '.join(findings[0].split())})")
    if wrong := db.execute(WRONG_MARKS).fetchone()[0]:
        raise Damaged(f"damaged (rows with a wrong checksum: {wrong})")
    db.execute("BEGIN IMMEDIATE").execute("ROLLBACK")


def _kept(log: bytes, copy: Path) -> str:
    try:
        copy.write_bytes(log)
    except OSError as error:
        copy.unlink(missing_ok=True)
        return f"no copy could be kept ({error.strerror})"
    return f"a copy is kept as {copy.name}"


def _set_aside(path: Path, opened_at: datetime) -> Path:
    aside = _dated(path, opened_at)
    try:
        for tail in ("-wal", ""):
            part = path.with_name(path.name + tail)
            if part.exists():
                part.rename(aside.with_name(aside.name + tail))
    except OSError as error:
        raise Breakdown(f"spool {path} is damaged and cannot be set aside: {error.strerror}") from error
    return aside


def _dated(path: Path, at: datetime) -> Path:
    stem = f"{path.stem}.damaged-{at:%Y%m%dT%H%M%SZ}"
    names = (path.with_name(f"{stem}{number}{path.suffix}") for number in ("", *(f"-{n}" for n in range(2, 10_000))))
    return next(name for name in names if not name.exists())

"""Opens the ledger's database: looks before it touches, upgrades what is older, refuses what it does not know.

SQLite by a path, PostgreSQL by a URL. Whatever cannot be used is left exactly as it was.
"""

from collections.abc import Generator
from contextlib import contextmanager
from pathlib import Path
from typing import Self

from sqlalchemy import Connection, inspect, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, IntegrityError

from swapbell_host.books.databases import DAMAGED, display, engine, is_file, passes, path_of, reading, words
from swapbell_host.books.schema import REVISIONS
from swapbell_models.fault import Breakdown, Mistake

# Our choice: `ack` writes for a few milliseconds; a slow card gets a thousand times that.
BUSY_MS = 5_000
# Our choice: a second or two; the ledger of a thousand stations at the season's end would take minutes.
CHECKED_MAX_BYTES = 200_000_000
LONG = frozenset({"tallies", "crossings", "sights", "counts"})


def ledger_url(ledger: str) -> URL:
    """Return the database URL of a ledger: a path of a SQLite file, or a URL as it is.

    Raises
    ------
    Mistake
        If the URL cannot be understood.
    """
    if "://" not in ledger:
        return URL.create("sqlite", database=ledger)
    try:
        return make_url(ledger)
    except ArgumentError as error:
        raise Mistake(f"ledger {ledger!r}: neither a path nor a database's URL: {error}") from error


class Interrupted(Breakdown):
    """The database does not let us for now: another program holds it, or the connection is lost."""


class Store:
    """An open database.

    Parameters
    ----------
    url : URL
        Where it is.
    writing : bool
        Whether it may be changed.
    busy_ms : int
        How long to wait for another program that holds it [ms].
    """

    def __init__(self, url: URL, *, writing: bool, busy_ms: int = BUSY_MS) -> None:
        self._url = url
        self._engine = engine(url, busy_ms, writing=writing)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._engine.dispose()

    @contextmanager
    def transaction(self) -> Generator[Connection]:
        """Do something wholly or not at all.

        Raises
        ------
        Breakdown
            In one line, in place of the many of a database's own errors; `Interrupted` where it may work later.
        """
        with self._told(), self._engine.begin() as connection:
            yield connection

    @contextmanager
    def reading(self) -> Generator[Connection]:
        """Read what belongs together, without waiting for who writes; raises as `transaction` does."""
        with self._told(), self._engine.connect().execution_options(**reading(self._url)) as connection:
            yield connection

    @contextmanager
    def _told(self) -> Generator[None]:
        try:
            yield
        except IntegrityError as error:
            raise Breakdown(f"ledger {display(self._url)}: another host writes to it; give each its own") from error
        except DBAPIError as error:
            kind = Interrupted if passes(error) else Breakdown
            raise kind(f"ledger {display(self._url)}: {words(error)}") from error


class Book:
    """What is read from a ledger and written to it, of one subject.

    Parameters
    ----------
    store : Store
        The ledger's database.
    """

    def __init__(self, store: Store) -> None:
        self._store = store


def open_existing(url: URL, *, writing: bool = False) -> Store:
    """Open a ledger that a host of this version has used before.

    Raises
    ------
    Mistake
        If there is none.
    Breakdown
        If it cannot be read.
    """
    if is_file(url) and not path_of(url).is_file():
        raise Mistake(f"ledger {display(url)}: there is none yet; `swapbell-host site add` or `run` makes it")
    with Store(url, writing=False) as store, store.transaction() as connection:
        revision = _known_revision(url, connection)
    if revision != REVISIONS[-1]:
        raise Mistake(f"ledger {display(url)}: not used by this version yet; start `swapbell-host run` with it once")
    return Store(url, writing=writing)


def open_or_make(url: URL, busy_ms: int = BUSY_MS) -> Store:
    """Open a ledger for a host; make it, or upgrade it, where needed.

    Raises
    ------
    Mistake
        If the folder is missing, the file is no ledger, or a newer version wrote it.
    Breakdown
        If it is damaged, or cannot be written.
    """
    if is_file(url):
        _look(url)
    store = Store(url, writing=True, busy_ms=busy_ms)
    with store.transaction() as connection:
        if _known_revision(url, connection) != REVISIONS[-1]:
            _upgrade(connection)
    return store


def _look(url: URL) -> None:
    """Refuse a file that is not a sound ledger, before anything could change it."""
    path = path_of(url)
    if not path.parent.is_dir():
        raise Mistake(f"ledger {path}: the folder {path.parent} does not exist; make it or choose another place")
    if path.exists() and not path.is_file():
        kind = "a folder; name a file in it" if path.is_dir() else "no file; choose another place"
        raise Mistake(f"ledger {path}: it is {kind}")
    if not path.exists() or path.stat().st_size == 0:
        return
    with Store(url, writing=False) as store, store.transaction() as connection:
        _check(path, connection)
        _known_revision(url, connection)


def _check(path: Path, connection: Connection) -> None:
    """Refuse a damaged file; where it is long, by all of its tables that are not: the rest shows when it is read."""
    parts = [""]
    if path.stat().st_size > CHECKED_MAX_BYTES:
        parts = [f"({name})" for name in inspect(connection).get_table_names() if name not in LONG]
    for part in parts:
        complaint = connection.execute(text(f"PRAGMA quick_check{part}")).scalars().first()
        if complaint != "ok":
            raise Breakdown(f"ledger {path}: {DAMAGED} ({' '.join(str(complaint).split())})")


def _known_revision(url: URL, connection: Connection) -> str | None:
    """Return the ledger's revision, None where there is nothing yet; refuse what is not ours or not known."""
    names = inspect(connection).get_table_names()
    if not names:
        return None
    if not {"alembic_version", "boots"} <= set(names):
        raise Mistake(f"ledger {display(url)}: it holds something else; choose another place")
    revision = connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one()
    if revision not in REVISIONS:
        raise Mistake(
            f"ledger {display(url)}: written by a newer swapbell (revision {revision}, this one knows "
            f"{REVISIONS[-1]}); update swapbell or choose another ledger"
        )
    return str(revision)


def _upgrade(connection: Connection) -> None:
    from alembic import command  # noqa: PLC0415 - a tenth of a second, needed once in a ledger's life
    from alembic.config import Config  # noqa: PLC0415 - as above

    config = Config()
    config.set_main_option("script_location", "swapbell_host.books:migrations")
    config.attributes["connection"] = connection
    command.upgrade(config, REVISIONS[-1])

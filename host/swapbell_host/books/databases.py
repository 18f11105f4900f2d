"""The two databases: how each is opened so that it keeps what it took, and what its errors mean for a person.

Either lets in one writer at a time, and shows who reads one moment of it: the books need not know which it is.
"""

from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError, NoSuchModuleError, OperationalError

from swapbell_models.fault import Mistake

# How a connection is told that it only reads.
READS = "swapbell_reads"
# By libpq's names. Our choice: of a server that is gone without a word one knows within a minute, not after hours.
_REACHING = {
    "client_encoding": "utf8",
    "connect_timeout": 10,
    "keepalives_idle": 30,
    "keepalives_interval": 10,
    "keepalives_count": 3,
    "tcp_user_timeout": 60_000,
}
# Each commit waits for the disk, whatever the server usually does; nobody waits for ever for another writer; and no
# query is compiled, which would take a second where it runs for a tenth.
_SETTING = (
    "SELECT set_config('synchronous_commit', replace(current_setting('synchronous_commit'), 'off', 'on'), false), "
    "set_config('lock_timeout', %s, false), set_config('jit', 'off', false)"
)
# Whoever writes holds it until the transaction ends; the number is our choice.
_WRITER = "SELECT pg_advisory_xact_lock(7927123)"

_NO_ENTRY = "it cannot be opened or written; give its file and folder to the user who runs this, or choose another"
_FULL = "the disk is full; free some space and start again, what was not stored will be sent again"
_HELD = "another program holds it; wait for it, or end it"
DAMAGED = "it is damaged; put it aside, restore a copy or start a new one"
# What SQLite's result codes mean for a person (sqlite.org/rescode.html), by the name's beginning.
_FILE_WORDS = {
    "SQLITE_FULL": _FULL,
    "SQLITE_READONLY": _NO_ENTRY,
    "SQLITE_PERM": _NO_ENTRY,
    "SQLITE_CANTOPEN": _NO_ENTRY,
    "SQLITE_BUSY": _HELD,
    "SQLITE_CORRUPT": DAMAGED,
    "SQLITE_NOTADB": "it is not a ledger; choose another file",
    "SQLITE_IOERR": "the disk failed; check it and start again",
}
# The same of PostgreSQL's (its appendix on error codes).
_SERVER_WORDS = {
    "53100": _FULL,
    "55P03": _HELD,
    "42501": "its user may not do this here; make that user the owner of the database",
    "25006": "this server only reads; name the one that it follows",
}
_AWAY = "see that its server runs, has a connection left, and knows this database and its user"


def is_file(url: URL) -> bool:
    """Tell whether a ledger is a file of SQLite."""
    return url.get_backend_name() == "sqlite"


def path_of(url: URL) -> Path:
    """Return where that file is."""
    return Path(str(url.database))


def display(url: URL) -> str:
    """Return how a person knows the ledger: its path, or its URL without the password."""
    return str(path_of(url)) if is_file(url) else url.render_as_string(hide_password=True)


def engine(url: URL, busy_ms: int, *, writing: bool) -> Engine:
    """Return a database, not connected yet.

    Parameters
    ----------
    url : URL
        Where it is.
    busy_ms : int
        How long to wait for another program that writes to it [ms].
    writing : bool
        Whether it may be changed.

    Raises
    ------
    Mistake
        If there is no driver for it.
    """
    if is_file(url):
        return _file(url, busy_ms, writing=writing)
    reaching = {name: value for name, value in _REACHING.items() if name not in url.query}
    try:
        made = create_engine(url, connect_args=reaching, pool_pre_ping=True)
    except (NoSuchModuleError, ModuleNotFoundError) as error:
        way_out = "use postgresql+psycopg:// after pip install 'swapbell[postgresql]'"
        raise Mistake(f"ledger {display(url)}: no driver for it here ({error}); {way_out}") from error
    _prepare_server(made, busy_ms, writing=writing)
    return made


def reading(url: URL) -> dict[str, Any]:
    """Return how a connection is told that it only reads, and what belongs together."""
    return {READS: True} | (
        {} if is_file(url) else {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
    )


def passes(error: DBAPIError) -> bool:
    """Tell whether it may work later without anybody's doing here: a lock, or a database server that is away."""
    name, state = getattr(error.orig, "sqlite_errorname", None), getattr(error.orig, "sqlstate", None)
    if name is not None:
        return str(name).startswith("SQLITE_BUSY")
    return state == "55P03" or _is_away(error, state)


def words(error: DBAPIError) -> str:
    """Return what an error means for a person, and the way out, in one line."""
    name, state = getattr(error.orig, "sqlite_errorname", None), getattr(error.orig, "sqlstate", None)
    for beginning, known in (_FILE_WORDS | _SERVER_WORDS).items():
        if str(name or state).startswith(beginning):
            return known
    said = " ".join(str(error.orig).split()).rstrip(".?")
    return f"{said}; {_AWAY}" if name is None and _is_away(error, state) else said


def _is_away(error: DBAPIError, state: str | None) -> bool:
    # Class 08 is a lost connection, 57P a server that shuts down or starts; one that does not answer, or has no
    # connection left, gives no code at all.
    lost = state is None or state.startswith(("08", "57P"))
    return error.connection_invalidated or (isinstance(error, OperationalError) and lost)


def _file(url: URL, busy_ms: int, *, writing: bool) -> Engine:
    """Return a file whose transactions are ours: the driver would open them late and leave table changes outside."""
    if not writing:
        url = url.set(database=f"file:{quote(str(url.database))}").update_query_dict({"mode": "ro", "uri": "true"})
    made = create_engine(url)

    @event.listens_for(made, "connect")
    def _connect(connection: Any, _record: object) -> None:  # pyright: ignore[reportUnusedFunction]
        connection.isolation_level = None
        connection.execute(f"PRAGMA busy_timeout = {busy_ms}")
        connection.execute("PRAGMA foreign_keys = ON")
        if writing:
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")

    @event.listens_for(made, "begin")
    def _begin(connection: Connection) -> None:  # pyright: ignore[reportUnusedFunction]
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing and not _only_reads(connection) else "BEGIN")

    return made


def _prepare_server(made: Engine, busy_ms: int, *, writing: bool) -> None:
    """Make a server as strict as a file is."""

    @event.listens_for(made, "connect", insert=True)  # before anything else reads a text
    def _connect(connection: Any, _record: object) -> None:  # pyright: ignore[reportUnusedFunction]
        if (encoding := connection.info.parameter_status("server_encoding")) != "UTF8":
            connection.close()
            raise Mistake(
                f"ledger {display(made.url)}: its encoding is {encoding}, which cannot hold every name; make another "
                "database with ENCODING 'UTF8' TEMPLATE template0"
            )
        connection.execute(_SETTING, [str(busy_ms)])
        connection.commit()

    @event.listens_for(made, "begin")
    def _begin(connection: Connection) -> None:  # pyright: ignore[reportUnusedFunction]
        if writing and not _only_reads(connection):
            connection.exec_driver_sql(_WRITER)


def _only_reads(connection: Connection) -> bool:
    return bool(connection.get_execution_options().get(READS))

"""Keeps in PostgreSQL what tests name by a path: `pytest --ledger postgresql` lets a suite speak for both databases.

Whatever opens a ledger asks `store` for its URL. Here a path that no file is at yet gets a database of its own, made
when it is first named; a file that is there, such as a ledger of an old revision, stays what it is. Programs that a
test starts know nothing of this: `ledger_at` is what their configuration names.
"""

import shutil
from collections.abc import Generator
from contextlib import contextmanager
from pathlib import Path
from unittest import mock

from alembic import command
from alembic.config import Config
from orchard import NOON_AT
from postgres_child import Cluster
from sqlalchemy import Connection, MetaData, Table, create_engine, func, select
from sqlalchemy.engine import URL, make_url

from swapbell_host.books import store
from swapbell_host.books.ledger import Ledger


class Instead:
    """The databases that stand for paths.

    Parameters
    ----------
    cluster : Cluster
        Where they are.
    """

    def __init__(self, cluster: Cluster) -> None:
        self._cluster = cluster
        self._blank = cluster.database()
        with Ledger(store.ledger_url(self._blank), {}, NOON_AT):
            pass
        self._urls: dict[Path, URL] = {}

    def create(self, backend: str, database: str) -> URL:
        """Return the URL of a ledger, as `URL.create` would."""
        path = Path(database).resolve()
        if (path.is_file() and path.stat().st_size > 0) or not path.parent.is_dir():
            return URL.create(backend, database=database)
        if path not in self._urls:
            self._urls[path] = make_url(self._cluster.database(like=self._blank))
        return self._urls[path]

    def copy(self, path: Path, there: Path) -> None:
        """Let another path stand for the same ledger as it is now, which nobody uses."""
        like = self._urls[path.resolve()].render_as_string(hide_password=False)
        self._urls[there.resolve()] = make_url(self._cluster.database(like=like))


def ledger_at(path: Path) -> str:
    """Return how a configuration names the ledger that stands for a path."""
    url = store.ledger_url(str(path))
    return str(path) if url.get_backend_name() == "sqlite" else url.render_as_string(hide_password=False)


def in_postgresql(file: Path, name: str, revision: str) -> str:
    """Write the rows of an old revision's file into an empty database, as it was made then, and return its name."""
    config, held = Config(), MetaData()
    config.set_main_option("script_location", "swapbell_host.books:migrations")
    with create_engine(f"sqlite:///{file}").connect() as old, create_engine(name).begin() as new:
        config.attributes["connection"] = new
        command.upgrade(config, revision)
        held.reflect(new)
        for table in held.sorted_tables:
            if table.name != "alembic_version" and (rows := old.execute(select(table)).mappings().all()):
                new.execute(table.insert(), [dict(row) for row in rows])
                _go_on(new, table)
    return name


def _go_on(connection: Connection, table: Table) -> None:
    """Let the numbers that the database gives go on from those that are there."""
    if "id" in table.columns:
        last = select(func.setval(func.pg_get_serial_sequence(table.name, "id"), func.max(table.c.id)))
        connection.execute(last)


def copied(folder: Path, there: Path) -> Path:
    """Copy a host's folder with its ledger, and return where it is now."""
    shutil.copytree(folder, there)
    if isinstance(store.URL, Instead):
        store.URL.copy(folder / "ledger.sqlite", there / "ledger.sqlite")
    return there


@contextmanager
def postgresql(cluster: Cluster) -> Generator[None]:
    """Keep the ledgers of paths there as long as this lasts."""
    with mock.patch.object(store, "URL", Instead(cluster)):
        yield

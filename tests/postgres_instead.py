"""Keeps in PostgreSQL what tests name by a path: `pytest --ledger postgresql` lets a suite speak for both databases.

Whatever opens a ledger asks `store` for its URL. Here a path that no file is at yet gets a database of its own, made
when it is first named; a file that is there, such as a ledger of an old revision, stays what it is. Programs that a
test starts are out of reach: they know nothing of this and make files.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest import mock

from orchard import NOON_AT
from postgres_child import Cluster
from sqlalchemy.engine import URL, make_url

from swapbell_host.books import store
from swapbell_host.books.ledger import Ledger

OPTION = "--ledger"
POSTGRESQL = "postgresql"


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


@contextmanager
def postgresql(cluster: Cluster) -> Iterator[None]:
    """Keep the ledgers of paths there as long as this lasts."""
    with mock.patch.object(store, "URL", Instead(cluster)):
        yield

"""An empty ledger to write to: SQLite in a folder, and the same on a real PostgreSQL; each made once and copied."""

import shutil
from pathlib import Path

import pytest
from orchard import NOON_AT, STATIONS
from postgres_child import OPTION, Cluster

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.store import ledger_url


def made(name: str) -> str:
    with Ledger(ledger_url(name), STATIONS, NOON_AT):
        return name


@pytest.fixture(scope="session")
def blank_ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(made(str(tmp_path_factory.mktemp("blank") / "ledger.sqlite")))


@pytest.fixture(scope="session")
def blank_database(cluster: Cluster) -> str:
    return made(cluster.database())


@pytest.fixture
def sqlite_ledger(request: pytest.FixtureRequest, tmp_path: Path, blank_ledger: Path) -> str:
    if request.config.getoption(OPTION):
        return database(request)
    return str(shutil.copy(blank_ledger, tmp_path / "ledger.sqlite"))


@pytest.fixture(params=["sqlite", "postgresql"])
def ledger_name(request: pytest.FixtureRequest) -> str:
    """Return the name of an empty ledger, on either database."""
    if request.param == "sqlite":
        name: str = request.getfixturevalue("sqlite_ledger")
        return name
    return database(request)


def database(request: pytest.FixtureRequest) -> str:
    running: Cluster = request.getfixturevalue("cluster")
    return running.database(like=request.getfixturevalue("blank_database"))

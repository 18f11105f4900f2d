"""What every test may ask for: real parts by mark, a real broker, a disk that fills up."""

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings
from mosquitto_child import Broker
from postgres_child import OPTION, POSTGRESQL, Cluster

import parts

# A loaded machine is slow and not wrong: no example has a deadline.
settings.register_profile("patient", deadline=None)
# For a night: `--hypothesis-profile long`.
settings.register_profile("long", deadline=None, max_examples=5000)
settings.load_profile("patient")


def pytest_addoption(parser: pytest.Parser) -> None:
    """Let the suite run on the other database; see `postgres_instead`."""
    parser.addoption(OPTION, choices=[POSTGRESQL], help="keep the ledgers that tests name by a path there")


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip, or in CI fail, a test whose real part is missing; leave out what is of a file where there is none."""
    if item.config.getoption(OPTION) and item.get_closest_marker("file"):
        pytest.skip("it is of a SQLite file")
    for mark in item.iter_markers("part"):
        parts.need(*mark.args)


@pytest.fixture(scope="session", autouse=True)
def instead(request: pytest.FixtureRequest) -> Iterator[None]:
    """Keep in PostgreSQL what tests name by a path, if that is asked for."""
    if request.config.getoption(OPTION) is None:
        yield
        return
    from postgres_instead import postgresql  # no model may be loaded before `bench/mutate_models.py` changes it

    with postgresql(request.getfixturevalue("cluster")):
        yield


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    """Yield a running PostgreSQL."""
    parts.need("postgresql")
    running = Cluster()
    yield running
    running.stop()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """Yield a real mosquitto on a free loopback port; `.kill()` and `.restart()` it as you like."""
    parts.need("mosquitto")
    folder = tmp_path / "broker"
    folder.mkdir()
    child = Broker(folder)
    yield child
    child.kill()


@pytest.fixture
def footage() -> Path:
    """Return the folder of real clips with known crossings."""
    parts.need("footage")
    return parts.footage()


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Yield a folder on a disk of its own of 1 MiB, for tests that fill it."""
    parts.need("tmpfs")
    folder = tmp_path / "small_disk"
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)], check=True)
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)

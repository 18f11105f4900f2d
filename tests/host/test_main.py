import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from mosquitto_child import Broker
from orchard import Party, tally, visits

from swapbell_models.message import NoticeMessage, Receipt, Standing, Subject
from swapbell_models.tally import Tally

HOST_TOML = """
[broker]
host = "127.0.0.1"
port = {port}
[[station]]
site = "orchard"
name = "north"
"""
SWAPBELL_HOST = str(Path(sys.executable).parent / "swapbell-host")

pytestmark = pytest.mark.part("mosquitto")


@pytest.fixture
def host_toml(tmp_path: Path, broker: Broker) -> Path:
    path = tmp_path / "host.toml"
    path.write_text(HOST_TOML.format(port=broker.port))
    return path


def start(config: Path) -> subprocess.Popen[str]:
    """Start the host and return when it hears the broker."""
    command = [SWAPBELL_HOST, "run", "--config", str(config)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stderr is not None
    assert "connected" in process.stderr.readline()
    return process


@contextmanager
def host(config: Path) -> Iterator[subprocess.Popen[str]]:
    process = start(config)
    yield process
    if process.poll() is None:
        process.terminate()
    process.communicate(timeout=10.0)


def ran(config: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [SWAPBELL_HOST, *words, "--config", str(config)], capture_output=True, text=True, check=False
    )


def busy_minutes(visits_per_tally: int = 1, tallies: int = 80) -> list[Tally]:
    """Return 20 minutes of tallies that end now; 20 of them are the rule's window."""
    start_at = datetime.now(UTC) - timedelta(seconds=15 * tallies)
    each = visits(*[float(n + 1) for n in range(visits_per_tally)])
    return [tally(seq, start_at=start_at, crossings=each) for seq in range(1, tallies + 1)]


def test_a_tally_is_written_down_and_answered_with_a_receipt(host_toml: Path, broker: Broker) -> None:
    with host(host_toml), Party(broker.port) as station:
        station.send(tally(1, start_at=datetime.now(UTC)))
        receipt = station.wait_for(Subject.RECEIPT, Receipt, lambda receipt: receipt.through == 1)
    assert receipt == Receipt(boot="b1", through=1)


def test_ten_visits_in_five_minutes_are_told_within_two_seconds(host_toml: Path, broker: Broker) -> None:
    start_at = datetime.now(UTC) - timedelta(seconds=150)
    with host(host_toml), Party(broker.port) as station:
        for seq in range(1, 10):
            station.send(tally(seq, start_at=start_at, crossings=visits(1.0)))
        station.wait_for(Subject.RECEIPT, Receipt, lambda receipt: receipt.through == 9)
        assert not station.said(Subject.NOTICE)
        station.send(tally(10, start_at=start_at, crossings=visits(1.0)))
        notice = station.wait_for(Subject.NOTICE, NoticeMessage, lambda _: True, within_s=2.0)
    assert notice.kind == "touched"


def test_two_full_windows_of_three_are_ready(host_toml: Path, broker: Broker) -> None:
    with host(host_toml), Party(broker.port) as station:
        for each in busy_minutes():
            station.send(each)
        station.wait_for(Subject.NOTICE, NoticeMessage, lambda notice: notice.kind == "ready")
        station.wait_for(Subject.STANDING, Standing, lambda standing: standing.verdict == "ready")

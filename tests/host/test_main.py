import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from mosquitto_child import Broker
from orchard import Party, tally

from swapbell_models.message import Receipt, Subject

HOST_TOML = """
[broker]
host = "127.0.0.1"
port = {port}
[[station]]
site = "orchard"
name = "north"
"""

pytestmark = pytest.mark.part("mosquitto")


@pytest.fixture
def host_toml(tmp_path: Path, broker: Broker) -> Path:
    path = tmp_path / "host.toml"
    path.write_text(HOST_TOML.format(port=broker.port))
    return path


@contextmanager
def host(config: Path) -> Iterator[subprocess.Popen[str]]:
    command = [str(Path(sys.executable).parent / "swapbell-host"), "run", "--config", str(config)]
    process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    assert process.stderr is not None
    assert "connected" in process.stderr.readline()
    yield process
    process.terminate()
    process.communicate(timeout=10.0)


def test_a_tally_is_written_down_and_answered_with_a_receipt(host_toml: Path, broker: Broker) -> None:
    with host(host_toml), Party(broker.port) as station:
        station.send(tally(1, start_at=datetime.now(UTC)))
        receipt = station.wait_for(Subject.RECEIPT, Receipt, lambda receipt: receipt.through == 1, within_s=10.0)
    assert receipt == Receipt(boot="b1", through=1)

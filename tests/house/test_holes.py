"""Tallies that will never come hold nothing up: the station's health tells the host what is missing for good."""

import signal
import subprocess
import sysconfig
from collections.abc import Generator, Iterable
from contextlib import contextmanager
from pathlib import Path

import pytest
from listener import eventually
from mosquitto_child import Broker
from spooled import STARTED_AT, TALLY_S, opened, tally

from swapbell_device.config import BrokerSection
from swapbell_device.health import Pulse
from swapbell_device.linking.delivery import Patience
from swapbell_device.linking.link import Link
from swapbell_device.spooling.spool import DAY_S, Spool

HOST = """
ledger = "ledger.sqlite"
[broker]
host = "127.0.0.1"
port = {port}
[[station]]
site = "orchard"
name = "north"
"""
BRISK = Patience(retry_s=0.1, retry_max_s=0.4, resend_s=0.5, resend_max_s=1.0, health_s=0.5)

pytestmark = pytest.mark.part("mosquitto")


@contextmanager
def hosted(folder: Path, port: int) -> Generator[None]:
    (folder / "host.toml").write_text(HOST.format(port=port))
    words = [str(Path(sysconfig.get_path("scripts"), "swapbell-host")), "run", "--config", str(folder / "host.toml")]
    with subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as host:
        try:
            yield
        finally:
            host.send_signal(signal.SIGTERM)


def drained(spool: Spool, port: int) -> bool:
    """Let a link work on the spool; return whether everything was receipted in time."""
    pulse = Pulse("north", STARTED_AT, spool)
    section = BrokerSection(host="127.0.0.1", port=port)
    with Link(section, "orchard", "north", spool, pulse.health, lambda _: None, BRISK):
        return eventually(lambda: len(spool) == 0, patience_s=30.0)


def filled(spool: Spool, seqs: Iterable[int], boot: str = "b1") -> None:
    for seq in seqs:
        spool.put(tally(seq, boot))


def test_what_the_spool_dropped_at_its_bound_is_not_waited_for(tmp_path: Path, broker: Broker) -> None:
    with opened(tmp_path / "spool.sqlite", keep_days=10 * TALLY_S / DAY_S) as spool:
        filled(spool, range(1, 51))
        assert spool.dropped == 40
        with hosted(tmp_path, broker.port):
            assert drained(spool, broker.port)


def test_a_hole_in_the_middle_is_passed_once_it_is_the_oldest(tmp_path: Path, broker: Broker) -> None:
    with opened(tmp_path / "spool.sqlite") as spool:
        filled(spool, [*range(1, 11), *range(12, 21), *range(25, 300)])
        with hosted(tmp_path, broker.port):
            assert drained(spool, broker.port)


def test_a_ledger_that_was_begun_anew_takes_over_in_mid_boot(tmp_path: Path, broker: Broker) -> None:
    with opened(tmp_path / "spool.sqlite") as spool:
        filled(spool, range(1, 11))
        with hosted(tmp_path, broker.port):
            assert drained(spool, broker.port)
        for ledger in tmp_path.glob("ledger.sqlite*"):
            ledger.unlink()
        filled(spool, range(11, 21))
        with hosted(tmp_path, broker.port):
            assert drained(spool, broker.port)


def test_a_boot_that_was_never_finished_does_not_hold_up_the_next(tmp_path: Path, broker: Broker) -> None:
    with opened(tmp_path / "spool.sqlite") as spool:
        filled(spool, [2, 3, 5, 8, *range(100, 300)], "b1")
        filled(spool, range(1, 30), "b2")
        with hosted(tmp_path, broker.port):
            assert drained(spool, broker.port)

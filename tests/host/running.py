"""A host as a program of its own, what its ledger holds, and a station that does not give in."""

import subprocess
import sys
import threading
from collections.abc import Generator
from contextlib import contextmanager
from pathlib import Path

from orchard import Party
from sqlalchemy import text

from swapbell_host.books.store import ledger_url, open_existing
from swapbell_models.tally import Tally

HOST_TOML = """
ledger = "{ledger}"
[broker]
host = "127.0.0.1"
port = {port}
[[station]]
site = "orchard"
name = "north"
"""
SWAPBELL_HOST = str(Path(sys.executable).parent / "swapbell-host")


def start(config: Path) -> subprocess.Popen[str]:
    """Start the host and return when it hears the broker."""
    command = [SWAPBELL_HOST, "run", "--config", str(config)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stderr is not None
    assert "listening" in process.stderr.readline()
    return process


@contextmanager
def host(config: Path) -> Generator[subprocess.Popen[str]]:
    """Run the host until the end of the block."""
    process = start(config)
    try:
        yield process
    finally:
        process.terminate()
        process.communicate(timeout=10.0)


def ran(config: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [SWAPBELL_HOST, *words, "--config", str(config)], capture_output=True, text=True, check=False
    )


class Stubborn:
    """A station that sends what is not receipted over and over, a few at a time, as a spool's link does."""

    def __init__(self, port: int, counted: list[Tally]) -> None:
        self.party = Party(port)
        self._counted = counted
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._send)

    def __enter__(self) -> "Stubborn":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()
        self.party.__exit__()

    def _send(self) -> None:
        while not self._stop.wait(0.2):
            through = self.party.received()
            for each in self._counted[through : through + 10]:
                self.party.send(each)


def stored(ledger: Path | str) -> list[tuple[int, int]]:
    """Return each stored tally's seq and how many crossings it has."""
    each = "SELECT tallies.seq, count(n) FROM tallies LEFT JOIN crossings USING (boot_id, seq) GROUP BY tallies.seq"
    with open_existing(ledger_url(str(ledger))) as store, store.reading() as connection:
        return [(seq, passed) for seq, passed in connection.execute(text(f"{each} ORDER BY tallies.seq"))]

"""A journey on which station, broker and host are killed again and again: the ledger equals what was counted."""

import random
import signal
import sqlite3
import subprocess
import sys
import sysconfig
import time
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from house.witness_station import DONE, INTENT
from mosquitto_child import Broker

from swapbell_models.message import decode
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Tally

KILLS = 20
# Our choice: long enough that a killed process is as often up as on its way up.
JOURNEY_S = 50.0
SEED = 20260203

STATION = """
site = "orchard"
station = "north"
starts_at = {starts_at}
tally_s = 0.5
[camera]
kind = "drawn"
pace = 10.0
[broker]
host = "127.0.0.1"
port = {port}
[spool]
path = "spool.sqlite"
"""
HOST = """
ledger = "ledger.sqlite"
[broker]
host = "127.0.0.1"
port = {port}
[[station]]
site = "orchard"
name = "north"
"""


@dataclass
class Process:
    """A process that is started again whenever it is killed."""

    words: list[str]
    log: Path
    starts: int = 0

    def start(self) -> None:
        self.starts += 1
        words = [word.replace("START", str(self.starts)) for word in self.words]
        with self.log.open("ab") as out:
            # The kernel ends the child with us, even if we are killed before we can.
            self.child = subprocess.Popen(["setpriv", "--pdeathsig", "KILL", *words], stdout=out, stderr=out)

    def restart(self) -> None:
        self.kill()
        self.start()

    def kill(self) -> None:
        self.child.kill()
        self.child.wait()

    def end(self, patience_s: float) -> int:
        self.child.send_signal(signal.SIGTERM)
        with suppress(subprocess.TimeoutExpired):
            self.child.wait(patience_s)
        return self.child.wait(0) if self.child.poll() is not None else -1


@dataclass
class Journey:
    """Everything of one journey."""

    folder: Path
    broker: Broker
    station: Process
    host: Process

    def sworn(self, word: bytes) -> list[Tally]:
        lines = (self.folder / "oath").read_bytes().splitlines()
        return [decode(line.removeprefix(word), Tally) for line in lines if line.startswith(word)]

    def ledger(self) -> list[Tally]:
        with closing(sqlite3.connect(self.folder / "ledger.sqlite")) as db:
            return [
                Tally(
                    station=station,
                    boot=boot,
                    seq=seq,
                    from_at=datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=from_us),
                    up_s=up_s,
                    clock=Clock(clock),
                    seconds=seconds,
                    watched_s=watched_s,
                    crossings=crossings_of(db, boot_id, seq),
                )
                for boot_id, station, boot, seq, from_us, up_s, clock, seconds, watched_s in db.execute(
                    "SELECT boot_id, station, boot, seq, from_at, up_s, clock, seconds, watched_s"
                    " FROM tallies JOIN boots ON boots.id = boot_id"
                )
            ]

    def said(self) -> str:
        return self.station.log.read_text()


def crossings_of(db: sqlite3.Connection, boot_id: int, seq: int) -> tuple[Crossing, ...]:
    rows = db.execute(
        "SELECT at_s, direction, size, length_mm FROM crossings WHERE boot_id = ? AND seq = ? ORDER BY n",
        (boot_id, seq),
    )
    return tuple(
        Crossing(at_s=at_s, direction=Direction(direction), size=SizeClass(size), length_mm=length_mm)
        for at_s, direction, size, length_mm in rows
    )


def begun(folder: Path, broker: Broker) -> Journey:
    starts_at = datetime.now(UTC) - timedelta(hours=2)
    (folder / "station.toml").write_text(STATION.format(port=broker.port, starts_at=starts_at.isoformat()))
    (folder / "host.toml").write_text(HOST.format(port=broker.port))
    witness = str(Path(__file__).with_name("witness_station.py"))
    host = str(Path(sysconfig.get_path("scripts"), "swapbell-host"))
    station = [sys.executable, witness, str(folder / "station.toml"), str(folder / "oath"), "START"]
    return Journey(
        folder,
        broker,
        Process(station, folder / "station.log"),
        Process([host, "run", "--config", str(folder / "host.toml")], folder / "host.log"),
    )


def travel(journey: Journey, chance: random.Random) -> None:
    """Kill every part at its own random moments; each is started again at once."""
    parts = (journey.station.restart, journey.broker.restart, journey.host.restart)
    moments = sorted((chance.uniform(1.0, JOURNEY_S), number) for number in range(len(parts)) for _ in range(KILLS))
    began_s = time.monotonic()
    for at_s, number in moments:
        time.sleep(max(0.0, at_s - (time.monotonic() - began_s)))
        parts[number]()


@pytest.mark.part("mosquitto")
def test_nothing_is_lost_and_nothing_comes_twice_however_often_all_are_killed(tmp_path: Path, broker: Broker) -> None:
    journey = begun(tmp_path, broker)
    journey.host.start()
    journey.station.start()
    try:
        travel(journey, random.Random(SEED))
        time.sleep(3.0)
        assert journey.station.end(30.0) == 0, journey.said()
        assert journey.host.end(10.0) == 0
    finally:
        journey.station.kill()
        journey.host.kill()
    ledger, promised, intended = journey.ledger(), set(journey.sworn(DONE)), set(journey.sworn(INTENT))
    assert "every tally is in the host's ledger" in journey.said().splitlines()[-1]
    assert len({(tally.boot, tally.seq) for tally in ledger}) == len(ledger)
    assert promised - set(ledger) == set()
    assert set(ledger) - intended == set()
    assert len({tally.boot for tally in ledger}) > KILLS / 4
    assert sum(len(tally.crossings) for tally in ledger) > KILLS

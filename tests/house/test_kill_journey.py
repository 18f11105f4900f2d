"""A journey on which station, broker and host are killed again and again: the ledger equals what was counted."""

import random
import signal
import sqlite3
import subprocess
import sys
import sysconfig
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import zip_longest
from pathlib import Path

import msgspec
import pytest
from house.witness_station import BEGUN, DONE, INTENT, SEEN, Seen
from listener import eventually
from mosquitto_child import Broker

from swapbell_device.book import SETTLE_S
from swapbell_models.message import decode
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Tally

KILLS = 20
# The longest that two frames are apart here, and a little.
FRAME_S = 0.051
SEED = 20260203
# Our choice: most parts are killed at work, some while they are still on their way up.
KILLED_AT_WORK = 0.7
WORKS_MAX_S = 1.5
WORK_PATIENCE_S = 5.0

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
    """A process that is started again whenever it is killed, and shows that it works by a file that grows."""

    words: list[str]
    log: Path
    work: Path
    starts: int = 0

    def start(self) -> None:
        self.starts += 1
        self.worked = size(self.work)
        words = [word.replace("START", str(self.starts)) for word in self.words]
        with self.log.open("ab") as out:
            # The kernel ends the child with us, even if we are killed before we can.
            self.child = subprocess.Popen(["setpriv", "--pdeathsig", "KILL", *words], stdout=out, stderr=out)

    def works(self) -> bool:
        return size(self.work) > self.worked

    def restart(self) -> None:
        self.kill()
        self.start()

    def kill(self) -> None:
        self.child.kill()
        self.child.wait()

    def end(self, patience_s: float) -> int:
        self.child.send_signal(signal.SIGTERM)
        return self.child.wait(patience_s)


def size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0


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

    def crossings(self) -> tuple[int, int, int]:
        """Return how many counted crossings are in the ledger, are not, and are there though nobody counted them.

        Those of the tally that a counter was still at when it was killed are none of these.
        """
        kept: dict[str, list[Tally]] = {}
        for tally in self.ledger():
            kept.setdefault(tally.boot, []).append(tally)
        starts = [start.splitlines() for start in (self.folder / "oath").read_bytes().split(BEGUN + b"\n")]
        pairs = [compared(start, kept) for start in starts]
        counted = sum((one for one, _ in pairs), Counter[object]())
        written = sum((other for _, other in pairs), Counter[object]())
        return (counted & written).total(), (counted - written).total(), (written - counted).total()


def compared(start: list[bytes], kept: dict[str, list[Tally]]) -> tuple[Counter[object], Counter[object]]:
    """Return what one start of a counter counted, as far as its tallies reach, and what they hold of it."""
    intended = [decode(line.removeprefix(INTENT), Tally) for line in start if line.startswith(INTENT)]
    if not intended:
        return Counter(), Counter()
    boot, tally_s = intended[0].boot, intended[0].seconds
    tallies = kept.get(boot, [])
    promised = [decode(line.removeprefix(DONE), Tally) for line in start if line.startswith(DONE)]
    until_s = max((tally.up_s + tally.seconds for tally in (*tallies, *promised)), default=0.0)
    seen = [msgspec.json.decode(line.removeprefix(SEEN), type=Seen) for line in start if line.startswith(SEEN)]
    counted = [told.crossing for told in seen if booked_s(told, tally_s) <= until_s]
    return (
        Counter((boot, c.direction, c.size, c.length_mm) for c in counted),
        Counter((boot, c.direction, c.size, c.length_mm) for tally in tallies for c in tally.crossings),
    )


def booked_s(told: Seen, tally_s: float) -> float:
    """Return to when the book dates a crossing [s]: into the oldest tally that is open, if it is told very late."""
    open_from_s = (told.confirmed_s - SETTLE_S - FRAME_S) // tally_s * tally_s
    return max(told.crossing.at_s, open_from_s)


def crossings_of(db: sqlite3.Connection, boot_id: int, seq: int) -> tuple[Crossing, ...]:
    rows = db.execute(
        "SELECT at_s, direction, size, length_mm, confidence FROM crossings WHERE boot_id = ? AND seq = ? ORDER BY n",
        (boot_id, seq),
    )
    return tuple(
        Crossing(
            at_s=at_s, direction=Direction(direction), size=SizeClass(size), length_mm=length_mm, confidence=sure
        )
        for at_s, direction, size, length_mm, sure in rows
    )


def begun(folder: Path, broker: Broker) -> Journey:
    starts_at = datetime.now(UTC) - timedelta(hours=2)
    (folder / "station.toml").write_text(STATION.format(port=broker.port, starts_at=starts_at.isoformat()))
    (folder / "host.toml").write_text(HOST.format(port=broker.port))
    witness = str(Path(__file__).with_name("witness_station.py"))
    host = str(Path(sysconfig.get_path("scripts"), "swapbell-host"))
    (folder / "memory").mkdir()
    memory = f"RUNTIME_DIRECTORY={folder / 'memory'}"
    station = ["env", memory, sys.executable, witness, str(folder / "station.toml"), str(folder / "oath"), "START"]
    return Journey(
        folder,
        broker,
        Process(station, folder / "station.log", folder / "oath"),
        Process([host, "run", "--config", str(folder / "host.toml")], folder / "host.log", folder / "host.log"),
    )


def torment(works: Callable[[], bool], restart: Callable[[], None], chance: random.Random) -> Iterator[None]:
    """Kill one part at random moments and start it again at once; yield while there is time to wait."""
    for _ in range(KILLS):
        if chance.random() < KILLED_AT_WORK:
            yield from until(works, WORK_PATIENCE_S)
        yield from until(lambda: False, chance.uniform(0.0, WORKS_MAX_S))
        restart()


def until(true: Callable[[], bool], patience_s: float) -> Iterator[None]:
    give_up_s = time.monotonic() + patience_s
    while not true() and time.monotonic() < give_up_s:
        yield


def travel(journey: Journey) -> None:
    """Kill station, broker and host, each in its own time; from one thread, with which its children would end."""
    station, host, broker = journey.station, journey.host, journey.broker
    parts = [(station.works, station.restart), (host.works, host.restart), (lambda: True, broker.restart)]
    torments = [torment(*part, random.Random(SEED + number)) for number, part in enumerate(parts)]
    for _ in zip_longest(*torments):
        time.sleep(0.01)


@pytest.mark.part("mosquitto")
def test_nothing_is_lost_and_nothing_comes_twice_however_often_all_are_killed(tmp_path: Path, broker: Broker) -> None:
    journey = begun(tmp_path, broker)
    journey.host.start()
    journey.station.start()
    try:
        travel(journey)
        assert eventually(journey.station.works)
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
    there, lost, made_up = journey.crossings()
    assert there > KILLS
    assert (lost, made_up) == (0, 0)

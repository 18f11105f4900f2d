"""Days of one station in minutes, at 60 frames a second: nothing lost, nothing twice, memory and descriptors flat.

    PYTHONPATH=tests python -m bench.soak [HOURS] [KILLS]        72 and 200 unless said; needs root and mosquitto

First the hours, a thousand times as fast, without a kill: the broker is gone for hours at a time, the disk under the
spool is filled and freed, the station's clock is set by up to two hours four times a day, and memory and descriptors
of station and host are read all along. Then the kills, of station and host in turn, each start of the station by a
clock that was set to another time. The crossings are those that the counter found in a drawn station, over and over
again, and come without pictures: what is tried is everything behind the gate, and each of them is looked for in the
ledger. Prints a line for each finding; exit 1 if one does not hold.
"""

import random
import subprocess
import sys
import sysconfig
import tempfile
import time
from collections.abc import Generator, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec
from house.test_kill_journey import HOST, STATION, Journey, Process
from house.witness_station import DONE, INTENT, Seen
from listener import eventually
from mosquitto_child import Broker

from swapbell_device.drawn import DrawnStation
from swapbell_device.main import watch

PACE = 1000.0
FRAMES_PER_S = 60
CLOCK_SET_EACH_S = 6.0 * 3600.0
SEED = 20260204
# Where Linux keeps files in memory.
MEMORY = "/dev/shm"
GROWTH_MAX_MB = 5.0
# Our choice: a connection that is being made, and a file that is being written.
DESCRIPTORS_MORE_MAX = 2
DISK_MB = 64
KIB_PER_MB = 1024.0
# Our choice: by then everything has been imported, and every cache is filled.
WARM_S = 30.0


@contextmanager
def disk(folder: Path) -> Generator[Path]:
    """Yield a small disk of its own."""
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={DISK_MB}m", "tmpfs", str(folder)], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


def count(path: Path) -> None:
    """Write down what the counter finds in a drawn station, all of its frames counted."""
    drawn = DrawnStation(SEED)
    found = [Seen(moment.at_s, crossing) for moment in watch(drawn, drawn.station) for crossing in moment.crossings]
    path.write_bytes(msgspec.json.encode(found))
    sys.stdout.write(f"{len(found)} crossings counted in a drawn station, {len(drawn.truth)} in truth\n")


def begun(folder: Path, card: Path, memory: Path, broker: Broker) -> Journey:
    """Return the journey, its spool on a disk of its own."""
    (folder / "host.toml").write_text(HOST.format(port=broker.port))
    witness = str(Path(__file__).parents[1] / "house" / "witness_station.py")
    host = str(Path(sysconfig.get_path("scripts"), "swapbell-host"))
    system = ["env", f"RUNTIME_DIRECTORY={memory}", sys.executable]
    station = [*system, witness, str(folder / "station.toml"), str(folder / "oath"), "START"]
    rates = [str(FRAMES_PER_S), "0", str(folder / "counted"), str(CLOCK_SET_EACH_S)]
    count(folder / "counted")
    configure(folder, card, broker, timedelta(hours=80))
    return Journey(
        folder,
        broker,
        Process([*station, *rates], folder / "station.log", folder / "oath"),
        Process([host, "run", "--config", str(folder / "host.toml")], folder / "host.log", folder / "host.log"),
    )


def configure(folder: Path, card: Path, broker: Broker, ago: timedelta) -> None:
    """Write the station's configuration, its clock set to so long ago."""
    text = STATION.format(port=broker.port, starts_at=(datetime.now(UTC) - ago).isoformat())
    text = text.replace("tally_s = 0.5", "tally_s = 15.0").replace("pace = 10.0", f"pace = {PACE}")
    (folder / "station.toml").write_text(text.replace("spool.sqlite", str(card / "spool.sqlite")))


def held(process: Process) -> tuple[float, int]:
    """Return the resident memory [MB] and the open descriptors of a process."""
    proc = Path("/proc", str(process.child.pid))
    status = (proc / "status").read_text()
    resident = next(line for line in status.splitlines() if line.startswith("VmRSS"))
    return int(resident.split()[1]) / KIB_PER_MB, len(list((proc / "fd").iterdir()))


def hours(journey: Journey, card: Path, many: float) -> dict[str, tuple[list[float], list[int]]]:
    """Let the hours pass, with broker and disk failing by turns; return memory and descriptors of both, warm."""
    chance, began_s = random.Random(SEED), time.monotonic()
    seen: dict[str, tuple[list[float], list[int]]] = {"station": ([], []), "host": ([], [])}
    while (passed_s := time.monotonic() - began_s) < many * 3600.0 / PACE:
        chance.choice([lambda: gone(journey.broker, chance), lambda: full(card, chance), lambda: time.sleep(5.0)])()
        for name, process in (("station", journey.station), ("host", journey.host)):
            if passed_s > WARM_S:
                memory, descriptors = held(process)
                seen[name][0].append(memory)
                seen[name][1].append(descriptors)
        sys.stderr.write(f"\r{passed_s * PACE / 3600.0:5.1f} h")
    sys.stderr.write("\n")
    return seen


def gone(broker: Broker, chance: random.Random) -> None:
    """Take the broker away for one to four of the station's hours."""
    broker.kill()
    time.sleep(chance.uniform(1.0, 4.0) * 3600.0 / PACE)
    broker.restart()
    time.sleep(3.0)


def full(card: Path, chance: random.Random) -> None:
    """Fill the disk under the spool for up to half an hour of the station's, and free it."""
    filler = card / "filler"
    with filler.open("wb", buffering=0) as file, suppress(OSError):
        while True:
            file.write(bytes(2**16))
    time.sleep(chance.uniform(0.3, 1.8))
    filler.unlink()
    time.sleep(3.0)


def kills(journey: Journey, card: Path, many: int) -> None:
    """Kill station and host by turns; the station's clock is another one at each start."""
    chance = random.Random(SEED + 1)
    for number in range(many):
        time.sleep(chance.uniform(0.2, 1.6))
        if number % 2:
            journey.host.restart()
        else:
            configure(journey.folder, card, journey.broker, timedelta(hours=chance.uniform(1.0, 200.0)))
            journey.station.restart()
        sys.stderr.write(f"\r{number + 1} kills")
    sys.stderr.write("\n")


def main(many_hours: float, many_kills: int) -> bool:
    """Do both, and tell whether all held."""
    with (
        tempfile.TemporaryDirectory() as name,
        tempfile.TemporaryDirectory(dir=MEMORY) as memory,
        disk(Path(name) / "card") as card,
    ):
        folder = Path(name)
        (folder / "broker").mkdir()
        broker = Broker(folder / "broker")
        journey = begun(folder, card, Path(memory), broker)
        journey.host.start()
        journey.station.start()
        try:
            seen = hours(journey, card, many_hours)
            kills(journey, card, many_kills)
            # A station that is told to end before it has begun just ends.
            works = eventually(journey.station.works, WARM_S)
            ended = works and journey.station.end(120.0) == 0 and journey.host.end(20.0) == 0
        finally:
            journey.station.kill()
            journey.host.kill()
            broker.kill()
        return all([tell("both end well", ended, journey.said().splitlines()[-1]), *flat(seen), *whole(journey)])


def flat(seen: dict[str, tuple[list[float], list[int]]]) -> Iterator[bool]:
    """Tell of memory and descriptors."""
    for name, (memory, descriptors) in seen.items():
        growth = max(memory[-3:], default=0.0) - max(memory[:3], default=0.0)
        yield tell(f"memory of the {name}", growth < GROWTH_MAX_MB, f"{growth:+.1f} MB over {memory[:1]} MB")
        more = max(descriptors[-3:], default=0) - max(descriptors[:3], default=0)
        yield tell(f"descriptors of the {name}", more <= DESCRIPTORS_MORE_MAX, f"{more:+d} over {descriptors[:1]}")


def whole(journey: Journey) -> Iterator[bool]:
    """Tell of what the ledger holds against what was sworn."""
    ledger, promised, intended = journey.ledger(), set(journey.sworn(DONE)), set(journey.sworn(INTENT))
    twice = len(ledger) - len({(tally.boot, tally.seq) for tally in ledger})
    yield tell("lost", not promised - set(ledger), f"{len(promised - set(ledger))} of {len(promised)} tallies")
    yield tell("made up", not set(ledger) - intended, f"{len(set(ledger) - intended)} tallies")
    yield tell("twice", twice == 0, f"{twice} of {len(ledger)} tallies")
    there, lost, more = journey.crossings()
    yield tell("crossings lost", lost == 0, f"{lost} of {there + lost} that were counted and their tally ended")
    yield tell("crossings made up or twice", more == 0, f"{more} of {there + more}")
    boots = {tally.boot for tally in ledger}
    yield tell("clock set, or killed", len(boots) > 1, f"{len(boots)} starts of the counter in the ledger")


def tell(what: str, holds: bool, words: str) -> bool:
    """Print a finding, and return whether it holds."""
    sys.stdout.write(f"{'holds' if holds else 'FAILS'}  {what:<26} {words}\n")
    return holds


if __name__ == "__main__":
    given = sys.argv[1:]
    sys.exit(not main(float(given[0]) if given else 72.0, int(given[1]) if len(given) > 1 else 200))

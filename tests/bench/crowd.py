"""What a crowd of stations costs a host, live: each sends a tally every 15 s by day, and the host judges each anew.

The ledger holds the last hour of every station already, so that the host knows what it knows after its first hour;
one station in a hundred is ready, the others have two visits in five minutes. Told are how long the host takes to
start and how much memory it holds then, and the share of one core that it takes while the stations send. Broker and
stations are other programs and not counted.

    PYTHONPATH=tests python -m bench.crowd [STATIONS [SECONDS]]
"""

import os
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from host.village import plan
from mosquitto_child import Broker
from sqlalchemy import func, select, text

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.logrows import put_entry
from swapbell_host.books.schema import tallies, to_us
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.jobs.entry import Act, Entry
from swapbell_host.jobs.plan import Station, located

SITES, ZONE = 100, "UTC"
EACH_S, HOUR = 15.0, 240
# The host has met everybody once by then.
SETTLING_S = 45.0
BOOTS = """
INSERT INTO boots (site, station, boot, oldest, last, synced, started_at, uncounted)
SELECT site, name, 'b1', 0, 0, 1, :began_us, 1 + (:hour * CAST(substr(name, 2) AS INTEGER)) / :stations
FROM stations"""
TALLIES = """
INSERT INTO tallies (boot_id, seq, from_at, up_s, clock, seconds, watched_s, received_at)
WITH RECURSIVE n(seq) AS (SELECT 1 UNION ALL SELECT seq + 1 FROM n WHERE seq < :hour)
SELECT boots.id, n.seq, :began_us + (n.seq - 1) * 15000000, (n.seq - 1) * 15.0, 'synced', 15.0, 15.0,
       :began_us + n.seq * 15000000
FROM boots CROSS JOIN n"""
CROSSINGS = """
INSERT INTO crossings (boot_id, seq, n, at_s, direction, size, length_mm)
SELECT boot_id, seq, 0, 7.0, 'in', 'wasp', 13.0 FROM tallies WHERE boot_id % 100 = 0 OR (seq + boot_id) % 9 = 0"""
# Sends each station's tally as its time comes, until it is ended.
FEEDER = """
import sys, time
import paho.mqtt.client as mqtt
from datetime import UTC, datetime
port, stations, sites, began_s = int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), float(sys.argv[4])
client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
client.max_inflight_messages_set(1000)
client.max_queued_messages_set(0)
client.connect("127.0.0.1", port)
client.loop_start()
crossing = '{"at_s":7.0,"dir":"in","size":"wasp","length_mm":13.0}'
seq, start = 240, time.time()
while True:
    seq += 1
    for n in range(stations):
        due = start + (seq - 241 + n / stations) * 15.0
        if due > time.time():
            time.sleep(due - time.time())
        up_s = (seq - 1) * 15.0
        began = datetime.fromtimestamp(began_s + up_s, UTC).isoformat()
        busy = n % 100 == 0 or (seq + n) % 9 == 0
        client.publish(
            f"swapbell/1/block-{n % sites}/s{n}/tally",
            f'{{"v":1,"station":"s{n}","boot":"b1","seq":{seq},"from":"{began}","up_s":{up_s},"clock":"synced",'
            f'"seconds":15.0,"watched_s":15.0,"crossings":[{crossing if busy else ""}]}}',
            1,
        )
"""


def ledger(path: Path, stations: int, now: datetime) -> None:
    """Make a ledger of stations that hang by day since yesterday, with their last hour."""
    with Ledger(ledger_url(str(path)), {}, now):
        pass
    noon = (12 - now.hour) * 15.0
    where = [located(-10.0 - 0.0001 * n, noon) for n in range(stations)]
    planned = [
        Station(f"block-{n % SITES}", f"s{n}", now - timedelta(days=2), place=place) for n, place in enumerate(where)
    ]
    values = {"began_us": to_us(now - timedelta(seconds=EACH_S * HOUR)), "hour": HOUR, "stations": stations}
    with open_existing(ledger_url(str(path)), writing=True) as store:
        plan(store, ZONE, *planned)
        with store.transaction() as connection:
            for number, station in enumerate(planned, 1):
                at = now - timedelta(days=1)
                put_entry(
                    connection,
                    Entry(
                        site=station.site,
                        station=station.name,
                        act=Act.LURED,
                        at=at,
                        by="Kim",
                        id=number,
                        logged_at=at,
                    ),
                )
            for words in (BOOTS, TALLIES, CROSSINGS):
                used = {name: value for name, value in values.items() if f":{name}" in words}
                connection.execute(text(words), used)


class Host:
    """The host as a program of its own."""

    def __init__(self, folder: Path, port: int) -> None:
        config = folder / "host.toml"
        config.write_text(
            f'ledger = "ledger.sqlite"\n[broker]\nhost = "127.0.0.1"\nport = {port}\n', encoding="utf-8"
        )
        command = [str(Path(sys.executable).with_name("swapbell-host")), "run", "--config", str(config)]
        self._errors = (folder / "errors").open("wb")
        self._child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=self._errors)
        self._said = folder / "errors"

    def wait(self) -> None:
        """Wait until it listens."""
        while b"listening to the stations" not in self._said.read_bytes():
            assert self._child.poll() is None, self._said.read_text(encoding="utf-8")
            time.sleep(0.1)

    def cpu_s(self) -> float:
        """Return what processor time it has taken so far [s] (proc(5): utime and stime)."""
        fields = Path(f"/proc/{self._child.pid}/stat").read_text(encoding="ascii").rpartition(") ")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def memory_mb(self) -> float:
        """Return what it holds in memory [MB]."""
        pages = int(Path(f"/proc/{self._child.pid}/statm").read_text(encoding="ascii").split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE") / 1e6

    def stop(self) -> None:
        """End it."""
        self._child.terminate()
        self._child.wait(60.0)
        self._errors.close()


def stored(path: Path) -> int:
    """Return how many tallies the ledger holds."""
    with open_existing(ledger_url(str(path))) as store, store.reading() as connection:
        return connection.execute(select(func.count()).select_from(tallies)).scalar_one()


def play(folder: Path, stations: int, seconds: float) -> None:
    """Play, and tell."""
    now = datetime.now(UTC)
    ledger(folder / "ledger.sqlite", stations, now)
    (folder / "broker").mkdir()
    broker = Broker(folder / "broker")
    began = time.monotonic()
    host = Host(folder, broker.port)
    host.wait()
    told = f"start with the last hour of {stations} stations: {time.monotonic() - began:.1f} s"
    sys.stdout.write(f"{told}, {host.cpu_s():.1f} s of processor, {host.memory_mb():.0f} MB held then\n")
    began_s = now.timestamp() - EACH_S * HOUR
    feeder = subprocess.Popen(
        [sys.executable, "-c", FEEDER, str(broker.port), str(stations), str(SITES), str(began_s)]
    )
    time.sleep(SETTLING_S)
    before_s, before, began = host.cpu_s(), stored(folder / "ledger.sqlite"), time.monotonic()
    time.sleep(seconds)
    spent_s, came, lasted_s = (
        host.cpu_s() - before_s,
        stored(folder / "ledger.sqlite") - before,
        time.monotonic() - began,
    )
    share = f"{100.0 * spent_s / lasted_s:.0f} % of a core over {lasted_s:.0f} s"
    each_us = spent_s / max(came, 1) * 1e6
    told = f"{came / lasted_s:.0f} tallies/s stored, {each_us:.0f} us each, {host.memory_mb():.0f} MB held"
    sys.stdout.write(f"{share}, catching up included: {told}\n")
    sys.stdout.write(
        f"{stations} stations at a tally each 15 s: {stations / EACH_S * each_us / 1e4:.0f} % of a core\n"
    )
    feeder.terminate()
    feeder.wait()
    host.stop()
    broker.kill()


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch:
        numbers = [float(word) for word in sys.argv[1:]]
        play(Path(scratch), int(numbers[0]) if numbers else 10_000, numbers[1] if len(numbers) > 1 else 60.0)

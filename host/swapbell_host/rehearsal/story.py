"""The rehearsal from the first frame to the last word.

The station is a process of its own, as in the field, and meets the host only on the broker. Its time runs faster than
ours, so the host is given the station's time: the end of its latest tally.
"""

import threading
import time
from collections.abc import Callable, Generator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from swapbell_host.config import Config, read_config
from swapbell_host.rehearsal import station
from swapbell_host.rehearsal.audience import Audience, Heard
from swapbell_host.rehearsal.broker import loopback_broker
from swapbell_host.rehearsal.play import SITE, STATION, Play, write_configurations
from swapbell_models.fault import Breakdown

LOOK_EVERY_S = 0.25
# Our choice: the last standing follows the last tally within a second or two; more than this is a fault.
LAST_WORD_LIMIT_S = 10.0


Serve = Callable[[Config, Callable[[], datetime], threading.Event, Callable[[str], None]], None]


def perform(play: Play, folder: Path, port: int | None, serve: Serve, show: Callable[[Heard], None]) -> Heard:
    """Play one station through broker, host and ledger.

    Parameters
    ----------
    play : Drawn or Footage
        What is watched.
    folder : Path
        An empty folder for the configurations, the logs, the spool and the ledger.
    port : int, optional
        The broker's port on loopback; a free one by default.
    serve : callable
        The host: takes its configuration, the time, and the event that stops it.
    show : callable
        Is given what was heard so far, a few times a second.

    Returns
    -------
    Heard
        All that the broker carried.

    Raises
    ------
    Mistake
        If the port is taken, or the station refuses what it was given.
    Breakdown
        If a part does not start, or ends early.
    """
    with loopback_broker(folder, port) as chosen, Audience(chosen, SITE, STATION) as audience:
        host_file, station_file = write_configurations(play, folder, chosen, datetime.now(UTC))
        with _host(serve, read_config(host_file), audience.now) as host:
            with station.running(station_file) as process:
                while process.poll() is None:
                    _check(host)
                    show(audience.heard)
                    time.sleep(LOOK_EVERY_S)
            station.check_end(process, station_file)
            _wait_for_last_word(audience.heard)
        show(audience.heard)
        return audience.heard


@contextmanager
def _host(serve: Serve, config: Config, now: Callable[[], datetime]) -> Generator[Future[None]]:
    stop = threading.Event()
    with ThreadPoolExecutor(1, "host") as thread:
        host = thread.submit(serve, config, now, stop, _unsaid)
        try:
            yield host
        finally:
            stop.set()
    host.result()


def _unsaid(_line: str) -> None:
    """Leave the host's own lines out: the view shows the notices that the broker carries."""


def _check(host: Future[None]) -> None:
    if host.done():
        host.result()
        raise Breakdown("the host ended before the station did")


def _wait_for_last_word(heard: Heard) -> None:
    give_up_at = time.monotonic() + LAST_WORD_LIMIT_S
    while time.monotonic() < give_up_at:
        ended_at = heard.ended_at()
        if heard.standing and ended_at and heard.standing.at >= ended_at:
            return
        time.sleep(LOOK_EVERY_S)
    raise Breakdown(f"the host's last word did not come within {LAST_WORD_LIMIT_S:.0f} s")

"""How long the page takes over a thousand stations with a season each: Today, a station, its season's plot.

    PYTHONPATH=tests python -m bench.ask_season [--ledger URL]

Asks the ledger that `python -m bench.season` made in `.cache`, or in the PostgreSQL database at a URL, through the
page's own application, without a network in between. Prints wall and processor time, the middle of eight requests,
and the first.
"""

import argparse
import gc
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from statistics import median

from bench.season import NOW, cached
from host.page_client import Client, client
from host.village import look

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.store import ledger_url

STATIONS = 1000
REQUESTS = 8
STATION = "/station/block-1/s1"
WAYS = {
    "Today": "/",
    "Today, one site": "/?site=block-1",
    "a station's day": STATION,
    "a station's season": f"{STATION}?span=season",
    "another's season": "/station/block-17/s997?span=season",
    "a season's points": f"{STATION}/counts.json?from=2025-12-15T00:00Z&to=2026-03-14T00:00Z",
}
# As the host sets it.
COLLECT_AFTER = 50_000


@contextmanager
def timed(what: str) -> Iterator[None]:
    """Print how long something took."""
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    yield
    wall_s, cpu_s = time.perf_counter() - wall_s, time.process_time() - cpu_s
    held_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    sys.stdout.write(f"{what:<22} {wall_s:6.2f} s, {cpu_s:6.2f} s of processor, {held_mb:.0f} MB at most\n")


def asked(page: Client, way: str) -> tuple[float, float, int]:
    """Return wall and processor time of a request [ms], and the length of its answer [B]."""
    page.now += timedelta(seconds=2)
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    reply = page.get(way)
    assert reply.status == 200, reply.status
    return (time.perf_counter() - wall_s) * 1e3, (time.process_time() - cpu_s) * 1e3, len(reply.content)


def tell(what: str, ask: Callable[[], tuple[float, float, int]]) -> None:
    """Print what a request takes."""
    first, *others = [ask() for _ in range(REQUESTS + 1)]
    wall, cpu, length = (median(each) for each in zip(*others, strict=True))
    sys.stdout.write(
        f"{what:<22} {wall:4.0f} ms, {cpu:4.0f} ms of processor, first {first[0]:.0f}, {length / 1e3:.0f} kB\n"
    )


def main(name: str) -> None:
    """Open the ledger, judge every station, and ask."""
    gc.set_threshold(COLLECT_AFTER)
    with tempfile.TemporaryDirectory() as folder:
        with timed("open the ledger"):
            ledger = Ledger(ledger_url(name), {}, NOW)
        page = client(Path(folder), ledger=name)
        page.now = NOW
        with ledger, timed("judge every station"):
            for seen in look(page.config, ledger, NOW).all().values():
                page.board.put(seen)
        for what, way in WAYS.items():
            tell(what, lambda way=way: asked(page, way))
        page.back.close()


if __name__ == "__main__":
    asking = argparse.ArgumentParser(description=__doc__)
    asking.add_argument("--ledger", help="the URL of a ledger that `python -m bench.season` made")
    main(asking.parse_args().ledger or str(cached(STATIONS)))

"""What a day of a busy station writes to its card: every byte that reaches the disk, the file system's own included.

    PYTHONPATH=tests python -m bench.card_wear            needs root, for a disk of its own, and mkfs.ext4

A day of tallies of 15 s goes through the spool, with crossings in nearly each of them for 15 foraging hours: once
with a host that receipts them, once with the broker gone all day. The spool lies on an ext4 file system as a board
has it, in a file that the kernel treats as a disk and counts what is written to. After each tally everything that the
kernel holds back is forced out, as its own timers (5 s for the journal, 30 s for data) would on a board in those 15
seconds. Exit 1 if a day writes more than it may.
"""

import ctypes
import os
import random
import subprocess
import sys
import tempfile
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from swapbell_device.spooling.spool import Spool
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Tally

TALLY_S, DAY_S = 15.0, 86_400.0
DAWN_S, DUSK_S = 5.0 * 3600.0, 20.0 * 3600.0
# Our choice: some 700 crossings an hour, far above ten visits in five minutes; one tally in twenty has none.
CROSSINGS_MEAN = 3.0
MAY_WRITE_MB = 20.0
SEED = 20260204
STARTED_AT = datetime(2026, 2, 3, tzinfo=UTC)
DISK_BYTES = 512 * 2**20
# Where Linux keeps files in memory.
MEMORY = "/dev/shm"
# Linux, Documentation/admin-guide/iostats: the seventh figure is sectors written, of 512 bytes.
SECTORS_WRITTEN, SECTOR_BYTES = 6, 512


@contextmanager
def disk() -> Generator[tuple[Path, Path]]:
    """Yield a folder on a disk of its own, as a board has it, and where the kernel counts what is written to it."""
    with tempfile.TemporaryDirectory() as name:
        image, folder = Path(name, "image"), Path(name, "card")
        image.touch()
        os.truncate(image, DISK_BYTES)
        folder.mkdir()
        subprocess.run(["mkfs.ext4", "-q", "-b", "4096", str(image)], check=True)
        subprocess.run(["mount", "-o", "loop,noatime", str(image), str(folder)], check=True)
        try:
            number = folder.stat().st_dev
            yield folder, Path(f"/sys/dev/block/{os.major(number)}:{os.minor(number)}/stat")
        finally:
            subprocess.run(["umount", str(folder)], check=True)


def day(boot: str, chance: random.Random) -> Iterator[Tally]:
    """Yield the tallies of a day, from midnight."""
    for seq in range(1, round(DAY_S / TALLY_S) + 1):
        up_s = (seq - 1) * TALLY_S
        yield Tally(
            station="north",
            boot=boot,
            seq=seq,
            from_at=STARTED_AT + timedelta(seconds=up_s),
            up_s=up_s,
            clock=Clock.SYNCED,
            seconds=TALLY_S,
            watched_s=TALLY_S,
            crossings=tuple(crossings(chance)) if DAWN_S <= up_s < DUSK_S else (),
        )


def crossings(chance: random.Random) -> Iterator[Crossing]:
    """Yield invented crossings, in time order."""
    at_s = chance.expovariate(CROSSINGS_MEAN / TALLY_S)
    while at_s < TALLY_S:
        direction, length_mm = chance.choice(list(Direction)), round(chance.uniform(11.0, 16.0), 1)
        yield Crossing(
            at_s=round(at_s, 3), direction=direction, size=SizeClass.WASP, length_mm=length_mm, confidence=0.9
        )
        at_s += chance.expovariate(CROSSINGS_MEAN / TALLY_S)


def spent(folder: Path, *, receipted: bool) -> None:
    """Let a day pass."""
    boot = "receipted" if receipted else "alone"
    force = ctypes.CDLL(None).syncfs
    with (
        tempfile.TemporaryDirectory(dir=MEMORY) as memory,
        Spool(folder / f"{boot}.sqlite", opened_at=STARTED_AT, say=print, memory=Path(memory)) as spool,
    ):
        card = os.open(folder, os.O_RDONLY)
        for tally in day(boot, random.Random(SEED)):
            spool.put(tally)
            spool.settle()
            if receipted:
                spool.received(boot, tally.seq)
            force(card)
        os.close(card)


def written(count: Path) -> tuple[int, int]:
    """Return what was written to the disk so far, and what of it this process wrote itself [B]."""
    own = next(line for line in Path("/proc/self/io").read_text().splitlines() if line.startswith("write_bytes"))
    return int(count.read_text().split()[SECTORS_WRITTEN]) * SECTOR_BYTES, int(own.split()[1])


def main() -> bool:
    """Print what both days write, and tell whether that is little enough."""
    most_bytes = 0
    with disk() as (folder, count):
        for receipted in (True, False):
            before = written(count)
            spent(folder, receipted=receipted)
            all_bytes, own_bytes = (after - earlier for after, earlier in zip(written(count), before, strict=True))
            most_bytes = max(most_bytes, all_bytes)
            case = "every tally receipted" if receipted else "the broker gone all day"
            sys.stdout.write(
                f"{case:<24} {all_bytes / 1e6:6.1f} MB written, {own_bytes / 1e6:.1f} of it by the counter\n"
            )
    return most_bytes <= MAY_WRITE_MB * 1e6


if __name__ == "__main__":
    sys.exit(not main())

"""How much memory counting takes: of the command on a clip, and over a hundred thousand frames.

PYTHONPATH=tests python -m bench.memory
"""

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
from bench import cost

from swapbell_device.camera import Frame, Luma
from swapbell_device.main import watch
from swapbell_device.stationfile import parse_station

# The goal that the counter was given [MB].
GOAL_MB = 90.0
CLIPS = (((640, 480), "MJPG", ".avi"), ((640, 480), "mp4v", ".mp4"), ((1024, 1024), "mp4v", ".mp4"))
FRAMES, EACH = 100_000, 10_000
SMALL, PER_S, LOOP = (160, 120), 30.0, 300
STATION = "[view]\nmm_per_px = {scale}\n[gate]\nline_px = [[{x}, 4], [{x}, {y}]]\ninside_px = [{inside}, 40]\n"
# Linux keeps the most that a program ever had in memory; the program says it itself at its end.
COUNT = """
import atexit, re, sys
from pathlib import Path
from swapbell_device.main import run
atexit.register(lambda: sys.stdout.write(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]))
run()
"""


class Endless:
    """A small camera that sees walkers come and go, for as long as is asked."""

    size = SMALL

    def __init__(self) -> None:
        rng = np.random.default_rng(2)
        self._pictures = [_small(picture, rng) for picture in cost.scene(5)]

    def frames(self) -> Iterator[Frame]:
        """Yield the frames."""
        for i in range(FRAMES):
            yield Frame(self._pictures[i % LOOP].copy(), i / PER_S)


def _small(picture: Luma, rng: np.random.Generator) -> Luma:
    shrunk = cv2.resize(picture, SMALL, interpolation=cv2.INTER_AREA)
    return np.clip(shrunk + rng.normal(0.0, 2.0, shrunk.shape), 0, 255).astype(np.uint8)


def station(size: tuple[int, int]) -> str:
    """Return the text of a station file whose view is 109 mm wide, as in `bench.cost`."""
    width, height = size
    return STATION.format(scale=108.8 / width, x=width // 2, y=height - 4, inside=width - 20)


def drawn_mb(size: tuple[int, int], codec: str, ending: str) -> float:
    """Return the most memory that `count` takes on a drawn clip [MB]."""
    with tempfile.TemporaryDirectory() as folder:
        clip, place = Path(folder) / f"clip{ending}", Path(folder) / "station.toml"
        place.write_text(station(size), encoding="utf-8")
        writer = cv2.VideoWriter(str(clip), cv2.VideoWriter.fourcc(*codec), PER_S, size)
        for picture in cost.scene(5):
            writer.write(cv2.cvtColor(cv2.resize(picture, size), cv2.COLOR_GRAY2BGR))
        writer.release()
        return counted_mb(clip, place)


def counted_mb(clip: Path, place: Path) -> float:
    """Return the most memory that `count` takes on a clip [MB]."""
    with tempfile.NamedTemporaryFile(suffix=".jsonl") as events:
        words = ["count", str(clip), "--station", str(place), "--events", events.name]
        done = subprocess.run([sys.executable, "-c", COUNT, *words], check=True, stdout=subprocess.PIPE, text=True)
    return int(done.stdout) * 1024 / 1e6


def held_mb() -> float:
    """Return what this process holds in memory [MB]."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * 4096 / 1e6


def _told(name: str, most_mb: float) -> str:
    return f"{name:<32}{most_mb:>6.1f} MB at most   <= {GOAL_MB:.0f}\n"


def _table() -> Iterator[str]:
    for size, codec, ending in CLIPS:
        yield _told(f"count, {size[0]}x{size[1]} {codec}", drawn_mb(size, codec, ending))
    for i, _ in enumerate(watch(Endless(), parse_station(station(SMALL), "drawn")), start=1):
        if i % EACH == 0:
            yield f"{f'after {i} frames of 160x120':<32}{held_mb():>6.1f} MB\n"


if __name__ == "__main__":
    named = [Path(word) for word in sys.argv[1:]]
    sys.stdout.writelines([_told(named[0].name, counted_mb(*named))] if named else _table())

"""What keeping evidence costs a counter: time beside the counting, bytes on the card.

Drawn minutes, ordinary ones and one whose noise makes films long (`dusk`). Processor time of the thread that counts
and of the thread that writes, a frame each; and what a minute of film and a strip take on the disk.

    PYTHONPATH=tests python -m bench.evidence
"""

import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from time import thread_time

import cv2

from swapbell_device.camera import Frame
from swapbell_device.drawing.conditions import draw
from swapbell_device.drawing.scene import Scene
from swapbell_device.evidence.clerk import Clerk
from swapbell_device.evidence.reel import Reel
from swapbell_device.evidence.store import Store
from swapbell_device.evidence.strips import Strips
from swapbell_device.main import watch
from swapbell_device.moment import Moment
from swapbell_models.evidence import Label

CONDITIONS = ("calm", "busy", "dusk")
CLIPS_A_DAY, CROSSINGS_A_DAY = 4, 500
# Whole blocks of the usual file system (mke2fs(8)).
BLOCK_BYTES = 4096


@dataclass
class Costs:
    """What one scene cost [s], and what it left [B]."""

    frames: int = 0
    counting_s: float = 0.0
    seeing_s: float = 0.0
    filming_s: list[float] = field(default_factory=list[float])
    film_bytes: int = 0
    strips: list[int] = field(default_factory=list[int])


class Timed:
    """A scene's frames, drawn beforehand."""

    def __init__(self, scene: Scene) -> None:
        self.size, self._frames = scene.size, [Frame(each.image, each.at_s) for each in scene.frames()]

    def frames(self) -> Iterator[Frame]:
        """Yield the frames."""
        yield from self._frames


def measured(scene: Scene, folder: Path) -> Costs:
    """Count a scene, with its strips, and film it."""
    store, clerk, costs, frames = Store(folder, 10**9, _say, free_bytes=0), Clerk(waits=True), Costs(), Timed(scene)
    strips = Strips("north", "b1", scene.station, store, clerk)
    moments = watch(frames, scene.station)
    while (moment := _next(moments, costs)) is not None:
        begun_s = thread_time()
        strips.see(moment, datetime(2026, 2, 3, tzinfo=UTC))
        costs.seeing_s += thread_time() - begun_s
    clerk.close()
    costs.strips = [item.size for item in store.items()]
    _film(list(frames.frames()), store, costs)
    return costs


def _next(moments: Iterator[Moment], costs: Costs) -> Moment | None:
    begun_s = thread_time()
    moment = next(moments, None)
    costs.counting_s += thread_time() - begun_s
    costs.frames += moment is not None
    return moment


def _film(frames: Sequence[Frame], store: Store, costs: Costs) -> None:
    name = Label(10**6, "north", "b1", 0.0, None).name
    reel = Reel(store, name, 60.0)
    for frame in frames:
        begun_s = thread_time()
        reel.add(frame)
        costs.filming_s.append(thread_time() - begun_s)
    costs.film_bytes = (store.part(name) / "clip.mp4").stat().st_size
    reel.abandon()


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")


def _blocks(size: int) -> int:
    return -(-size // BLOCK_BYTES) * BLOCK_BYTES


def report(name: str, scene: Scene, costs: Costs) -> None:
    """Print what a scene cost."""
    width, height = scene.size
    per_minute = 60.0 / float(scene.times_s[-1])
    ms = 1e3 / costs.frames
    _say(f"{name}, {width}x{height}, {costs.frames} frames, {len(costs.strips)} strips")
    _say(f"  counting {costs.counting_s * ms:.3f} ms a frame, strips {costs.seeing_s * ms:.3f} ms more in its thread")
    _say(f"  filming {median(costs.filming_s) * 1e3:.2f} ms a frame in a thread of its own, while a minute is filmed")
    film_mb = costs.film_bytes * per_minute / 1e6
    strip_mb = median(map(_blocks, costs.strips)) / 1e6 if costs.strips else 0.0
    a_day_mb = CLIPS_A_DAY * film_mb + CROSSINGS_A_DAY * strip_mb
    _say(
        f"  a minute's film {film_mb:.1f} MB, a strip {median(costs.strips or [0]) / 1e3:.1f} kB in whole blocks of 4"
    )
    _say(f"  {CLIPS_A_DAY} films and {CROSSINGS_A_DAY} strips a day: {a_day_mb:.0f} MB")


def main() -> None:
    """Measure each condition on one core."""
    cv2.setNumThreads(1)
    for name in sys.argv[1:] or CONDITIONS:
        scene = draw(name, 1)
        with tempfile.TemporaryDirectory() as folder:
            report(name, scene, measured(scene, Path(folder)))


if __name__ == "__main__":
    main()

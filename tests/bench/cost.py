"""What the counter costs per frame of 640x480 on one core, decoding apart.

Each figure is a ratio to one `np.copyto` of the frame, and for the stock counter to ours, on the same frames and in
the same run. Processor time, not the clock; a frame's cost is the median of several passes over the same frames, and
every frame after the opening and a second more has equal weight. A frame lies in the cache as it does after decoding.

    PYTHONPATH=tests python -m bench.cost
"""

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from statistics import mean, median
from time import thread_time_ns

import cv2
import numpy as np
from bench.stock import Stock

from swapbell_device.camera import Frame, Luma
from swapbell_device.main import watch
from swapbell_device.stationfile import parse_station

SIZE = 640, 480
PER_S = 30.0
# Bodies walk to and fro in this time, so that the clip's end fits its beginning and it can be shown again.
LOOP, SHOWN = 300, 3
# The opening and the first second after it are left out: they are paid once.
SETTLED = 90
PASSES, PASSES_STOCK = 7, 3
COPIES = 20
STATION_TOML = "[view]\nmm_per_px = 0.17\n[gate]\nline_px = [[320, 20], [320, 460]]\ninside_px = [500, 240]\n"
STATION = parse_station(STATION_TOML, "drawn")
# The goals that the counter was given: what a small board can pay.
GOALS = {0: 2.0, 5: 10.0, 15: 16.0}
STOCK_BODIES, STOCK_GOAL = 5, 20.0
Step = Callable[[Frame], object]
Counter = Callable[[Sequence[Luma]], Step]


@dataclass(frozen=True, slots=True)
class Cost:
    """What a frame costs [s of processor time], and what copying one costs."""

    mean_s: float
    middle_s: float
    copy_s: float

    @property
    def ratio(self) -> float:
        """Mean cost of a frame in copies of a frame."""
        return self.mean_s / self.copy_s

    @property
    def middle(self) -> float:
        """Median cost of a frame in copies of a frame."""
        return self.middle_s / self.copy_s


def scene(bodies: int) -> list[Luma]:
    """Draw bodies of 13 x 4 mm that walk to and fro in lanes of their own, over a grainy board with sensor noise."""
    rng = np.random.default_rng(1)
    board = 150.0 + cv2.GaussianBlur(rng.normal(0.0, 30.0, SIZE[::-1]).astype(np.float32), (0, 0), 2.0)
    return [_picture(board, bodies, 2.0 * np.pi * i / LOOP, rng) for i in range(LOOP)]


def _picture(board: Luma, bodies: int, phase: float, rng: np.random.Generator) -> Luma:
    picture = board.copy()
    columns = -(-bodies // 5)
    for body in range(bodies):
        lane, column = body % 5, body // 5
        middle, reach = SIZE[0] * (column + 0.5) / columns, SIZE[0] / columns / 2.0 - 50.0
        x = middle + reach * np.sin((1 + lane % 2) * phase + body)
        cv2.ellipse(picture, (round(16.0 * x), 16 * (60 + 85 * lane)), (608, 192), 0, 0, 360, 40, -1, cv2.LINE_AA, 4)
    return np.clip(picture + rng.normal(0.0, 2.0, picture.shape), 0, 255).astype(np.uint8)


class Shown:
    """The drawn clip as a camera, shown several times over."""

    size = SIZE

    def __init__(self, pictures: Sequence[Luma]) -> None:
        self._pictures = pictures

    def frames(self) -> Iterator[Frame]:
        """Yield the frames; no picture is copied."""
        for i in range(SHOWN * LOOP):
            yield Frame(self._pictures[i % LOOP], i / PER_S)


def ours(pictures: Sequence[Luma]) -> Step:
    """Return our counter: a call takes its next frame."""
    moments = iter(watch(Shown(pictures), STATION))
    return lambda _: next(moments)


def stock(_: Sequence[Luma]) -> Step:
    """Return the stock counter."""
    counter = Stock(STATION.gate)
    return lambda frame: counter.step(frame.image)


def cost(counter: Counter, pictures: Sequence[Luma], passes: int) -> Cost:
    """Measure a counter on a clip, on one core."""
    cv2.setNumThreads(1)
    spent, copies = zip(*(_pass(counter(pictures), Shown(pictures).frames()) for _ in range(passes)), strict=True)
    each_s = [median(frame) for frame in zip(*spent, strict=True)]
    return Cost(mean(each_s), median(each_s), median(copies))


def _pass(step: Step, frames: Iterable[Frame]) -> tuple[list[float], float]:
    """Return what each settled frame costs, and what a copy costs in the same seconds [s]."""
    near = np.empty(SIZE[::-1], np.uint8)
    spent, copies = [], []
    for frame in frames:
        copies.append(_spent_s(_copy, near, frame.image) / COPIES)
        spent.append(_spent_s(step, frame))
    return spent[SETTLED:], median(copies)


def _copy(target: Luma, image: Luma) -> None:
    for _ in range(COPIES):
        np.copyto(target, image)


def _spent_s(work: Callable[..., object], *what: object) -> float:
    began_ns = thread_time_ns()
    work(*what)
    return 1e-9 * (thread_time_ns() - began_ns)


def _row(name: str, figure: str, goal: str) -> str:
    return f"{name:<42}{figure:>9}   {goal}\n"


def _table() -> Iterator[str]:
    yield _row("640x480, one core, decoding apart", "np.copyto", "goal")
    for bodies in (0, 1, 5, 15):
        pictures = scene(bodies)
        mine = cost(ours, pictures, PASSES)
        goal = f"<= {GOALS[bodies]:.0f}" if bodies in GOALS else ""
        yield _row(f"{bodies} bodies (median {mine.middle:.1f})", f"{mine.ratio:.1f}", goal)
        if bodies == STOCK_BODIES:
            theirs = cost(stock, pictures, PASSES_STOCK)
            yield _row("MOG2, contours, SORT and a line, same clip", f"{theirs.ratio:.0f}", "")
            yield _row("that as a multiple of ours", f"{theirs.mean_s / mine.mean_s:.1f}", f">= {STOCK_GOAL:.0f}")
    yield f"one copy: {mine.copy_s * 1e6:.1f} us\n"


if __name__ == "__main__":
    sys.stdout.writelines(_table())

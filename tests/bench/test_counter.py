"""What the counter costs per frame of 640x480, decoding apart, as a ratio to one np.copyto of the frame."""

import sys
from time import thread_time
from timeit import repeat

import numpy as np
import pytest
from numpy.typing import NDArray
from pytest_benchmark.fixture import BenchmarkFixture

from swapbell_device.camera import Frame
from swapbell_device.gate import Gate
from swapbell_device.segment import Segmenter
from swapbell_device.stationfile import parse_station
from swapbell_device.tracker import Tracker
from swapbell_device.window import Window

SIZE = 640, 480
PER_S = 30.0
FRAMES = 240
STATION = parse_station(
    "[view]\nmm_per_px = 0.17\n[gate]\nline_px = [[60, 240], [580, 240]]\ninside_px = [320, 400]\n", "drawn"
)


def scene(bodies: int) -> list[NDArray[np.uint8]]:
    """Draw bodies of 13 x 4 mm that walk to and fro in lanes of their own."""
    import cv2

    rng = np.random.default_rng(1)
    board = 150.0 + cv2.GaussianBlur(rng.normal(0.0, 30.0, SIZE[::-1]).astype(np.float32), (0, 0), 2.0)
    pictures: list[NDArray[np.uint8]] = []
    for i in range(FRAMES):
        picture = board.copy()
        for body in range(bodies):
            lane, column = body % 5, body // 5
            x = 100.0 + 200.0 * column + 50.0 * np.sin(i / 25.0 + body)
            centre = round(16.0 * x), 16 * (60 + 85 * lane)
            cv2.ellipse(picture, centre, (38 * 16, 12 * 16), 0, 0, 360, 40, -1, cv2.LINE_AA, 4)
        pictures.append(np.clip(picture + rng.normal(0.0, 2.0, picture.shape), 0, 255).astype(np.uint8))
    return pictures


def copy_s(picture: NDArray[np.uint8]) -> float:
    target = np.empty_like(picture)
    return min(repeat(lambda: np.copyto(target, picture), number=200, repeat=7)) / 200.0


@pytest.mark.parametrize("bodies", [0, 1, 5, 15])
def test_cost_of_a_frame(bodies: int, benchmark: BenchmarkFixture) -> None:
    frames = [Frame(picture, i / PER_S) for i, picture in enumerate(scene(bodies))]
    segmenter, tracker, gate = Segmenter(Window(STATION, SIZE), frames[:40]), Tracker(), Gate(STATION)
    warm = np.empty(SIZE[::-1], np.uint8)
    spent_s: list[float] = []
    for frame in frames:
        np.copyto(warm, frame.image)
        began_s = thread_time()
        tracks = tracker.step(segmenter.blobs(Frame(warm, frame.at_s)), frame.at_s)
        gate.cross(tracks, frame.at_s)
        spent_s.append(thread_time() - began_s)
    benchmark.pedantic(lambda: segmenter.blobs(Frame(warm, frames[-1].at_s + 0.01)), rounds=1)
    each = copy_s(warm)
    mean, middle = float(np.mean(spent_s[60:])) / each, float(np.median(spent_s[60:])) / each
    benchmark.extra_info.update(ratio_mean=mean, ratio_median=middle)
    sys.stdout.write(
        f"\n{bodies} bodies: {mean:.1f} times np.copyto (median {middle:.1f}; copy {each * 1e6:.1f} us)\n"
    )

"""How fast scenes are drawn, in frames a second and as a ratio to one np.copyto of the frame."""

import sys
from collections.abc import Iterator
from itertools import islice
from time import process_time

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from swapbell_device.camera import Frame
from swapbell_device.drawing.conditions import draw
from swapbell_device.drawing.scene import Scene
from swapbell_device.drawn import DrawnStation

FRAMES = 400


def _copy_s(frame: np.ndarray) -> float:
    target = np.empty_like(frame)
    began = process_time()
    for _ in range(FRAMES):
        np.copyto(target, frame)
    return (process_time() - began) / FRAMES


@pytest.mark.parametrize("name", ["station", "busy", "rain", "storm"])
def test_frames_a_second(name: str, benchmark: BenchmarkFixture) -> None:
    scene: Scene = DrawnStation(seed=3) if name == "station" else draw(name, 1)

    def frames() -> Iterator[Frame]:
        return islice(scene.frames(), FRAMES)

    first = next(frames())
    began = process_time()
    benchmark.pedantic(lambda: list(frames()), rounds=1)
    each_s = (process_time() - began) / FRAMES
    ratio = each_s / _copy_s(first.image)
    benchmark.extra_info.update(frames_per_s=1.0 / each_s, ratio_to_copyto=ratio)
    sys.stdout.write(f"\n{name} {scene.size}: {1.0 / each_s:.0f} frames/s of CPU, {ratio:.0f} times np.copyto\n")

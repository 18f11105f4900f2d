"""Small clips of drawn dots, written as video files, for tests of the camera and of the count command."""

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

SIZE = 320, 240
PER_S = 20.0
STATION = """[view]
mm_per_px = 0.34
[gate]
line_px = [[160, 40], [160, 200]]
inside_px = [280, 120]
"""


def board(size: tuple[int, int] = SIZE, seed: int = 3) -> NDArray[np.uint8]:
    """Return a bright board with some grain."""
    width, height = size
    grain = np.random.default_rng(seed).normal(0.0, 6.0, (height, width)).astype(np.float32)
    return np.clip(180.0 + cv2.GaussianBlur(grain, (0, 0), 2.0) * 3.0, 0, 255).astype(np.uint8)


def pictures(ways: Sequence[Sequence[tuple[float, float] | None]], grey: int = 60) -> list[NDArray[np.uint8]]:
    """Return frames in which a 13 mm body stands at each way's point; all ways are equally long."""
    found: list[NDArray[np.uint8]] = []
    for spots in zip(*ways, strict=True):
        picture = board()
        for spot in spots:
            if spot is not None:
                centre = round(spot[0] * 16), round(spot[1] * 16)
                cv2.ellipse(picture, centre, (19 * 16, 6 * 16), 0, 0, 360, grey, -1, cv2.LINE_AA, 4)
        found.append(picture)
    return found


def walk(start: tuple[float, float], end: tuple[float, float], frames: int) -> list[tuple[float, float]]:
    """Return the points of a straight and even way."""
    return [
        (start[0] + (end[0] - start[0]) * i / (frames - 1), start[1] + (end[1] - start[1]) * i / (frames - 1))
        for i in range(frames)
    ]


def write_clip(path: Path, frames: Sequence[NDArray[np.uint8]]) -> Path:
    """Write frames as Motion JPEG and return the path."""
    height, width = frames[0].shape
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"MJPG"), PER_S, (width, height))
    for frame in frames:
        writer.write(cv2.cvtColor(frame, cv2.COLOR_GRAY2BGR))
    writer.release()
    return path

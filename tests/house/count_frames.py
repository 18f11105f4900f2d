"""Counts frames that were decoded before and prints the events: count_frames.py FRAMES.npy STATION.toml NUMBER.

The frames are shown over and over, 30 a second, until the number is reached. It runs where little is installed.
"""

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from swapbell_device.camera import Frame
from swapbell_device.count import event
from swapbell_device.main import watch
from swapbell_device.stationfile import read_station

PER_S = 30.0


class Shown:
    """Decoded frames as a camera."""

    def __init__(self, frames: "np.ndarray", number: int) -> None:
        self._frames, self._number = frames, number
        self.size = frames.shape[2], frames.shape[1]

    def frames(self) -> Iterator[Frame]:
        """Yield the frames, not copied."""
        for i in range(self._number):
            yield Frame(self._frames[i % len(self._frames)], i / PER_S)


frames = np.load(sys.argv[1], mmap_mode="r").view(np.ndarray)
for moment in watch(Shown(frames, int(sys.argv[3])), read_station(Path(sys.argv[2]))):
    sys.stdout.writelines(f"{event(crossing)}\n" for crossing in moment.crossings)

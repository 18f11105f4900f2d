"""The last seconds of the opening while something moves there: small pictures around the gate, and where bodies were.

The newest are kept all, since a flyer is gone in a tenth of a second; of the older ones every few, since a walker
takes its time. So a few megabytes reach back further than a crossing takes to become certain.
"""

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain

import cv2
import numpy as np

from swapbell_device.camera import Frame, Luma
from swapbell_device.following.track import Track
from swapbell_device.stationfile import StationFile
from swapbell_models.optics import Point

# Our choice: a wasp is then still 40 pixels long, enough to be recognised as one.
STRIP_MM_PER_PX = 0.34
# Our choice: how far to either side of the gate there is something to see in a strip.
REACH_MM = 32.0
# Our choice: at 60 frames a second, the last 0.4 s whole and 2 s before it at 15 a second.
NEW, OLD, EVERY = 24, 30, 4


@dataclass(frozen=True, slots=True)
class Glimpse:
    """One small picture: when it was taken [s], and where each track was then [mm], by its number."""

    image: Luma
    at_s: float
    places: dict[int, Point]


class Ring:
    """Keeps glimpses while there are tracks.

    Parameters
    ----------
    station : StationFile
        Where the gate lies.
    size : (int, int)
        Width and height of the frames [px].

    Attributes
    ----------
    corner, step
        Where the small picture begins in the frame, and how many of the frame's pixels one of its own is [px].
    """

    def __init__(self, station: StationFile, size: tuple[int, int]) -> None:
        (x1, y1), (x2, y2) = station.gate.start_px, station.gate.end_px
        scale = station.view.mm_per_px((x1 + x2) / 2.0, (y1 + y2) / 2.0)
        self.step = max(1, int(STRIP_MM_PER_PX / scale))
        reach = REACH_MM / scale
        self._rows, self._columns = (
            _stretch(low, high, reach, limit, self.step)
            for low, high, limit in ((min(y1, y2), max(y1, y2), size[1]), (min(x1, x2), max(x1, x2), size[0]))
        )
        self.corner = self._columns.start, self._rows.start
        self._new: deque[Glimpse] = deque()
        self._old: deque[Glimpse] = deque(maxlen=OLD)
        self._seen = 0

    def add(self, frame: Frame, tracks: Iterable[Track]) -> None:
        """Keep what a frame shows around the gate."""
        places = {track.number: (track.x_mm, track.y_mm) for track in tracks}
        self._new.append(Glimpse(self._small(frame.image), frame.at_s, places))
        if len(self._new) > NEW:
            aged = self._new.popleft()
            self._seen += 1
            if self._seen % EVERY == 0:
                self._old.append(aged)

    def __iter__(self) -> Iterator[Glimpse]:
        return chain(self._old, self._new)

    def nearest(self, at_s: float) -> Glimpse:
        """Return the glimpse that was taken nearest to a moment [s]."""
        return min(self, key=lambda glimpse: abs(glimpse.at_s - at_s))

    def _small(self, image: Luma) -> Luma:
        part = image[self._rows, self._columns]
        if self.step == 1:
            return part.copy()
        height, width = part.shape
        size = width // self.step, height // self.step
        return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.uint8)


def _stretch(low: float, high: float, reach: float, limit: int, step: int) -> slice:
    """Return a stretch within an image, a whole number of steps long."""
    start, stop = max(0, int(low - reach)), min(limit, int(high + reach) + 1)
    return slice(start, start + max(step, (stop - start) // step * step))

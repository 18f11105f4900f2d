"""The counter that anyone would put together first, from stock parts: what ours must be much cheaper than.

MOG2 at full size with OpenCV's defaults, `findContours`, the SORT tracker as its paper describes it, and a line that
boxes' centres cross. No ready-made tracker: those that are well kept bring a second OpenCV, or need an older NumPy.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from swapbell_device.camera import Luma
from swapbell_device.stationfile import GateLine

Box = tuple[float, float, float, float]

# MOG2 marks shadows as 127 and bodies as 255 (OpenCV's manual).
BODY_LEVEL = 200
# Common practice, no source: what is smaller is noise [px].
AREA_MIN_PX = 60.0
# A. Bewley et al., Simple online and realtime tracking, ICIP 2016, and its defaults (from memory).
OVERLAP_MIN, SEEN_MIN, MISSED_MAX = 0.3, 3, 1


class _Tracked:
    """One box through time: centre, area and shape, and the pace of the first three."""

    def __init__(self, number: int, box: Box) -> None:
        self.number, self.seen, self.missed, self.side = number, 1, 0, 0
        self.box = box
        self._filter = kalman = cv2.KalmanFilter(7, 4, 0, cv2.CV_64F)
        kalman.transitionMatrix = np.eye(7) + np.eye(7, k=4)
        kalman.measurementMatrix = np.eye(4, 7)
        kalman.measurementNoiseCov = np.diag([1.0, 1.0, 10.0, 10.0])
        kalman.processNoiseCov = np.diag([1.0, 1.0, 1.0, 1.0, 0.01, 0.01, 0.0001])
        kalman.errorCovPost = np.diag([10.0] * 4 + [10_000.0] * 3)
        kalman.statePost = np.concatenate([_measured(box), np.zeros((3, 1))])

    @property
    def centre(self) -> tuple[float, float]:
        return 0.5 * (self.box[0] + self.box[2]), 0.5 * (self.box[1] + self.box[3])

    def predict(self) -> Box:
        self.missed += 1
        self.box = _box(self._filter.predict())
        return self.box

    def correct(self, box: Box) -> None:
        self.seen, self.missed = self.seen + 1, 0
        self.box = _box(self._filter.correct(_measured(box)))


class Stock:
    """Counts crossings of a gate line, frame by frame, in pixels."""

    def __init__(self, gate: GateLine) -> None:
        self._subtractor = cv2.createBackgroundSubtractorMOG2()
        self._gate = gate
        self._inside = self._side(gate.inside_px)
        self._tracked: list[_Tracked] = []
        self._numbered = 0
        self.counted = {1: 0, -1: 0}

    def step(self, image: Luma) -> None:
        """Take one frame."""
        found = self._boxes(image)
        self._track(found)
        for each in self._tracked:
            if each.seen >= SEEN_MIN:
                self._cross(each)

    def _boxes(self, image: Luma) -> list[Box]:
        _, mask = cv2.threshold(self._subtractor.apply(image), BODY_LEVEL, 255, cv2.THRESH_BINARY)
        outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        corners = (cv2.boundingRect(outline) for outline in outlines if cv2.contourArea(outline) >= AREA_MIN_PX)
        return [(x, y, x + width, y + height) for x, y, width, height in corners]

    def _track(self, found: Sequence[Box]) -> None:
        expected = [each.predict() for each in self._tracked]
        free = set(range(len(found)))
        if found and expected:
            overlaps = _overlaps(np.array(expected), np.array(found))
            for row, column in zip(*linear_sum_assignment(-overlaps), strict=True):
                if overlaps[row, column] >= OVERLAP_MIN:
                    self._tracked[row].correct(found[column])
                    free.discard(column)
        self._tracked = [each for each in self._tracked if each.missed <= MISSED_MAX]
        self._tracked.extend(_Tracked(self._numbered + i, found[i]) for i in sorted(free))
        self._numbered += len(free)

    def _cross(self, each: _Tracked) -> None:
        side = self._side(each.centre)
        if each.side * side < 0:
            self.counted[side * self._inside] += 1
        each.side = side

    def _side(self, point: tuple[float, float]) -> int:
        (x1, y1), (x2, y2), (x, y) = self._gate.start_px, self._gate.end_px, point
        return 1 if (x2 - x1) * (y - y1) > (y2 - y1) * (x - x1) else -1


def _measured(box: Box) -> NDArray[np.float64]:
    x1, y1, x2, y2 = box
    return np.array([[0.5 * (x1 + x2)], [0.5 * (y1 + y2)], [(x2 - x1) * (y2 - y1)], [(x2 - x1) / (y2 - y1)]])


def _box(state: NDArray[np.float64]) -> Box:
    x, y, area, shape = state[:4, 0].tolist()
    width = max(area * shape, 1.0) ** 0.5
    height = max(area, 1.0) / width
    return x - 0.5 * width, y - 0.5 * height, x + 0.5 * width, y + 0.5 * height


def _overlaps(one: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return each pair's area in common as a share of the area that both cover."""
    low = np.maximum(one[:, None, :2], other[None, :, :2])
    high = np.minimum(one[:, None, 2:], other[None, :, 2:])
    common = np.prod(np.maximum(high - low, 0.0), axis=2)
    areas = [np.prod(boxes[:, 2:] - boxes[:, :2], axis=1) for boxes in (one, other)]
    return np.asarray(common / (areas[0][:, None] + areas[1][None, :] - common), np.float64)

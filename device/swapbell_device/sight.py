"""How well the counter sees: every eight seconds two frames, a fifth of a second apart, are compared.

Broad light and shadow are taken away first: the counter bears them. What is left of both is laid over one another by
least squares (Lucas and Kanade 1981, Proc. Imaging Understanding Workshop 121-130), which takes a body that walks for
what it is, where phase correlation takes it for a camera that moves.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from statistics import median

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.camera import Frame, Luma
from swapbell_device.following.track import Track
from swapbell_device.look import Look
from swapbell_device.pace import Pace
from swapbell_device.sharpness import sharpness

Plane = NDArray[np.float32]

# Our choice: three looks in two tallies of the usual length; at 30 frames a second they cost half as much as
# copying each frame (`tests/bench/test_sight.py`).
LOOK_S = 8.0
# Our choice: far enough apart for grass to move, near enough for a walking wasp to overlap with itself.
PAIR_S, PAIR_MAX_S = 0.2, 0.5
# Our choice: the longer side of what is compared; a wasp is then some ten pixels long in a common view.
SIDE_PX = 80
# A slope needs a pixel and one on either side.
SMALL_MIN_PX = 3
# Each pixel of what is compared is the mean of so many of the frame's.
SAMPLES = 4
# Our choice: what is broader than this many pixels of what is compared is light and shadow.
BROAD_PX = (5, 5)
# Our choice: the usual one of so few rows tells the noise, whatever walks over the others.
NOISE_ROWS = 8
# How far two pixels' changes lie apart in the mean, where each is the difference of two values with normal noise.
APART_PER_SIGMA = 2.0 * math.sqrt(2.0 / math.pi)
# Our choice: differences beyond this are bodies and count for little when the shift is measured.
BODY_LEVELS = 12.0
# Our choice: a shift of less than this needs no second round, and three are enough.
SHIFT_PX, ROUNDS = 0.25, 3
# Our choice: 4.5 standard deviations and a little are more than noise.
SIGMAS, OFFSET_LEVELS = 4.5, 3.0
# Our choice: a body that moves changes the view where it was and where it is, its legs, wings and shadow as much
# again, and taking the light away doubles that.
BODY_CHANGES = 8.0


@dataclass(frozen=True, slots=True)
class _Glimpse:
    """What is kept of a frame: when it was taken, its view shrunk, and some of the view's rows."""

    at_s: float
    small: Plane
    rows: Luma


class Lookout:
    """Looks at frames for how well one can count at them.

    Parameters
    ----------
    view : callable
        Returns the part of a frame that is worked on.
    mm_per_px : float
        Its scale at the gate [mm/px].
    """

    def __init__(self, view: Callable[[Luma], Luma], mm_per_px: float) -> None:
        self._view, self._mm_per_px = view, mm_per_px
        self._pace = Pace()
        self._first: _Glimpse | None = None
        self._next_s = -math.inf

    def look(self, frame: Frame, tracks: Iterable[Track]) -> Look | None:
        """Return what a look found, if one is due with this frame and the view is no mere streak.

        Parameters
        ----------
        frame : Frame
            Each that comes, in time order.
        tracks : iterable of Track
            The bodies that are followed.
        """
        self._pace.note(frame.at_s)
        if frame.at_s < self._next_s:
            return None
        view, first = self._view(frame.image), self._first
        half = max(1, round(max(view.shape) / SIDE_PX / 2))
        if min(view.shape) < 2 * half * SMALL_MIN_PX:
            return None
        glimpse = _glimpse(view, half, frame.at_s)
        if first is None or frame.at_s - first.at_s > PAIR_MAX_S:
            self._first, self._next_s = glimpse, frame.at_s + PAIR_S
            return None
        self._first, self._next_s = None, first.at_s + LOOK_S
        found = self._compare(first, glimpse, 2 * half * self._mm_per_px, tracks)
        return replace(found, sharpness=sharpness(view, found.noise, self._mm_per_px), exposure_s=frame.exposure_s)

    def _compare(self, first: _Glimpse, then: _Glimpse, mm_per_px: float, tracks: Iterable[Track]) -> Look:
        light, noise = cv2.mean(then.small)[0], _noise(first.rows, then.rows)
        gain = cv2.mean(first.small)[0] / max(light, 1.0)
        old, new = _without_light(first.small), _without_light(gain * then.small)
        bar = SIGMAS * noise * math.sqrt(2.0 / SAMPLES) + OFFSET_LEVELS
        x, y, laid = _laid_back(old, new, noise**2 / SAMPLES)
        changed = float(np.count_nonzero(cv2.absdiff(old, laid) > bar)) / old.size
        bodies_mm2 = BODY_CHANGES * sum(track.area_mm2 for track in tracks if track.believable)
        dropped, came = self._pace.told()
        return Look(
            at_s=then.at_s,
            light=light,
            detail=math.sqrt(max(0.0, float(np.vdot(old, new)) / old.size)),
            noise=noise,
            shake_mm=mm_per_px * math.hypot(x, y),
            moving=max(0.0, changed - bodies_mm2 / (old.size * mm_per_px**2)),
            dropped=dropped,
            came=came,
        )


def _glimpse(view: Luma, half: int, at_s: float) -> _Glimpse:
    """Return what is kept of a view of which every `half`th pixel is used."""
    points = np.ascontiguousarray(view[half // 2 :: half, half // 2 :: half])
    height, width = points.shape
    small = cv2.resize(points, (width // 2, height // 2), interpolation=cv2.INTER_AREA)
    return _Glimpse(at_s, small.astype(np.float32), view[half // 2 :: 2 * NOISE_ROWS * half].copy())


def _without_light(small: Plane) -> Plane:
    return np.asarray(cv2.subtract(small, cv2.blur(small, BROAD_PX)), np.float32)


def _noise(before: Luma, after: Luma) -> float:
    """Return the standard deviation of a pixel from frame to frame [levels].

    Neighbours are compared, so that what moves slowly over the pixels is left out.
    """
    change = np.subtract(after, before, dtype=np.int16)
    apart: list[float] = np.abs(change[:, 1:] - change[:, :-1]).mean(axis=1).tolist()
    return median(apart) / APART_PER_SIGMA


def _laid_back(old: Plane, new: Plane, noise_variance: float) -> tuple[float, float, Plane]:
    """Return how far the view has moved as a whole [px], and the new one laid back over the old one.

    Where the view shows too little to tell, it has not moved.
    """
    x, y = _shift(old, new, noise_variance)
    laid = new
    for _ in range(1, ROUNDS):
        if math.hypot(x, y) < SHIFT_PX:
            break
        back = np.array(((1.0, 0.0, x), (0.0, 1.0, y)))
        how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        moved = cv2.warpAffine(new, back, new.shape[::-1], flags=how, borderMode=cv2.BORDER_REPLICATE)
        laid = np.asarray(moved, np.float32)
        dx, dy = _shift(old, laid, noise_variance)
        x, y = x + dx, y + dy
    return x, y, laid


def _shift(old: Plane, new: Plane, noise_variance: float) -> tuple[float, float]:
    both = 0.25 * (old + new)
    slope_x, slope_y = both[1:-1, 2:] - both[1:-1, :-2], both[2:, 1:-1] - both[:-2, 1:-1]
    change = new[1:-1, 1:-1] - old[1:-1, 1:-1]
    weight = 1.0 / (1.0 + (change * (1.0 / BODY_LEVELS)) ** 2) ** 2
    along, across = weight * slope_x, weight * slope_y
    floor = 0.5 * noise_variance * float(weight.sum()) + 1e-6
    xx, yy = float(np.vdot(along, slope_x)) + floor, float(np.vdot(across, slope_y)) + floor
    xy, x, y = float(np.vdot(along, slope_y)), float(np.vdot(along, change)), float(np.vdot(across, change))
    size = xx * yy - xy * xy
    return (xy * y - yy * x) / size, (xy * x - xx * y) / size

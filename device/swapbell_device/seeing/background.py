"""What the view looks like without bodies: its level, its light and its noise, pixel by pixel."""

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.camera import Luma

if TYPE_CHECKING:
    from cv2.typing import MatLike

Plane = NDArray[np.float32]
Thin = Callable[[Luma], Luma]

# Our choice: normal noise averages 0.8 standard deviations; in the mask, where four pixels and their neighbours are
# averaged, 3.5 times that leaves less than one noisy pixel in a frame.
BAR_SPREADS, BAR_OFFSET = 3.5, 2.0
# Our choice: below this a difference is rounding and compression, whatever the noise seems to be [grey levels].
BAR_MIN = 6.0
# Our choice: with fewer frames the noise cannot be told yet, and this is a usual camera's mean [grey levels].
OPENING_MIN = 5
SPREAD_DEFAULT = 1.6
# Our choice: slow enough to leave a passing body out, fast enough for the sun.
LEVEL_S = 6.0
SPREAD_S = 10.0
# Our choice: light is compared in cells this many halvings coarse, with the median of 5 x 5: larger than bodies.
CELL_HALVINGS = 4
CELLS_MIN = 3
# Our choice: dark pixels carry more offset than gain; this keeps their ratio calm [grey levels].
LIGHT_OFFSET = np.float32(8.0)
# Our choice: a smaller change of light is within the rounding, and one of fewer cells is a body's.
LIGHT_STEP, CHANGED_SHARE = 0.01, 0.02
_NEAR = np.ones((3, 3), np.uint8)


class Background:
    """Learns from an opening of frames, then follows slowly.

    Parameters
    ----------
    opening : sequence of Luma
        Works (cut frames) to learn from; they may hold bodies that move.
    thin : callable
        Brings a difference to the mask's scale.

    Attributes
    ----------
    shown
        The level in today's light, as the camera would show it.
    bar
        What a pixel of the mask must differ by to be more than noise.
    """

    def __init__(self, opening: Sequence[Luma], thin: Thin) -> None:
        self._level: Plane = _middle(opening)
        self._light: Plane = np.ones_like(_cells(self._level))
        self._settle()
        off = _middle([thin(_absolute(work, self.shown)) for work in opening])
        self._spread: Plane = np.asarray(cv2.blur(off, (3, 3)), np.float32)
        if len(opening) < OPENING_MIN:
            self._spread[:] = SPREAD_DEFAULT
        self.raise_bar(np.zeros_like(self._spread))

    def restart(self, works: Sequence[Luma]) -> None:
        """Learn the level anew: the view has been changed."""
        self._level = _middle(works)
        self._light = np.ones_like(self._light)
        self._settle()

    def relight(self, work: Luma) -> bool:
        """Follow the light of a frame: clouds, sun and soft shadows, not bodies. Tell whether it has changed."""
        light = (_cells(work) + LIGHT_OFFSET) / self._cells
        if min(light.shape) >= CELLS_MIN:
            light = np.asarray(cv2.medianBlur(light, 5), np.float32)
        changed = int(np.count_nonzero(np.abs(light - self._light) > LIGHT_STEP)) > CHANGED_SHARE * light.size
        if changed:
            self._light = light
            self._show()
        return changed

    def renew(self, work: Luma, thin: Luma, bodies: Luma, step_s: float) -> None:
        """Move towards a frame and its thin difference wherever there are no bodies (a mask at the mask's scale)."""
        free = cv2.bitwise_not(cv2.dilate(bodies, _NEAR))
        cv2.accumulateWeighted(thin, self._spread, 1.0 - math.exp(-step_s / SPREAD_S), mask=free)
        if free.shape != work.shape:
            free = cv2.resize(free, work.shape[::-1], interpolation=cv2.INTER_NEAREST)
        cv2.accumulateWeighted(self._unlit(work), self._level, 1.0 - math.exp(-step_s / LEVEL_S), mask=free)
        self._settle()

    def mend(self, work: Luma, mask: "MatLike") -> None:
        """Take a part of the frame as it is: there was a ghost."""
        np.copyto(self._level, self._unlit(work), where=mask > 0)
        self._settle()

    def raise_bar(self, least: Plane) -> None:
        """Set the bar anew; nothing weaker than `least` is worth seeing there [grey levels]."""
        bar = cv2.convertScaleAbs(self._spread, alpha=BAR_SPREADS, beta=BAR_OFFSET)
        worth = np.minimum(255.0, np.maximum(BAR_MIN, least)).astype(np.uint8)
        self.bar: Luma = np.maximum(np.asarray(bar, np.uint8), worth)

    def _settle(self) -> None:
        self._cells: Plane = _cells(self._level) + LIGHT_OFFSET
        self._show()

    def _is_steady(self) -> bool:
        low, high, *_ = cv2.minMaxLoc(self._light)
        return low > 1.0 - LIGHT_STEP and high < 1.0 + LIGHT_STEP

    def _unlit(self, work: Luma) -> "MatLike":
        """Return a frame as it would be in the level's light: the light itself is never learnt, it goes again."""
        if self._is_steady():
            return work
        return (work + LIGHT_OFFSET) / self._wide() - LIGHT_OFFSET

    def _show(self) -> None:
        level = self._level
        if not self._is_steady():
            level = (level + LIGHT_OFFSET) * self._wide() - LIGHT_OFFSET
        self.shown: Luma = np.asarray(cv2.convertScaleAbs(level), np.uint8)

    def _wide(self) -> Plane:
        height, width = self._level.shape
        return np.asarray(cv2.resize(self._light, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)


def _middle(works: Sequence[Luma]) -> Plane:
    """Return the median of each pixel; sorting bytes takes an eighth of the memory that numpy's median does."""
    ranked = np.stack(works)
    ranked.sort(axis=0)
    return np.asarray(ranked[len(works) // 2], np.float32)


def _absolute(one: Luma, other: Luma) -> Luma:
    return np.asarray(cv2.absdiff(one, other), np.uint8)


def _cells(image: "MatLike") -> Plane:
    cells = image
    for _ in range(CELL_HALVINGS):
        if min(cells.shape) <= CELLS_MIN:
            break
        cells = cv2.resize(cells, (cells.shape[1] // 2, cells.shape[0] // 2), interpolation=cv2.INTER_AREA)
    return np.asarray(cells, np.float32)

"""Rain: its streaks stand in one frame only, and in a shower only what more than one frame shows is believed."""

import math
from collections import deque
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import cv2
import numpy as np

from swapbell_device.camera import Luma
from swapbell_device.seeing.window import Window

if TYPE_CHECKING:
    from cv2.typing import MatLike

# Our choice: a streak is at least this long, which a swinging leg is not, and at most this wide, once blurred to the
# mask's scale, which no flying wasp is.
STREAK_LONG_MM, STREAK_WIDE_MM = 3.0, 2.5
# Our choice: what moves this near to something that stays is its leg or wing.
LEG_MM = 5.0
# Our choice: so many of them a frame make a shower; well less ends one. Insects that fly by make one
# each, but seldom and not for long.
STREAKS_A_FRAME, ENDED_SHARE = 1.0, 0.4
# Our choice: over this time they are counted.
FOLLOW_S = 1.0
# A streak is in the middle one of these frames only; the median needs an odd number.
FRAMES = 3
# Our choice: frames further apart than this show a walking body in two places.
APART_S = 0.08


class Shower:
    """Keeps the last three frames, counts what only the middle one shows, and clears it away while it rains.

    What is cleared is the middle one of the three: while it rains everything is seen one frame late.

    Parameters
    ----------
    window : Window
        The part of the view that is worked on.
    """

    def __init__(self, window: Window) -> None:
        self._window = window
        self._long_px = STREAK_LONG_MM / window.mm_per_px
        self._wide_px = STREAK_WIDE_MM / window.mm_per_px
        reach = 1 + 2 * round(LEG_MM / window.mm_per_px)
        self._near = np.ones((reach, reach), np.uint8)
        self._works: deque[Luma] = deque(maxlen=FRAMES)
        self._at_s = -math.inf
        self._streaks = 0.0
        self.falls = False

    def begin(self, works: Sequence[Luma], bar: Luma) -> None:
        """Learn from frames that follow one another whether it rains already."""
        nothing = np.zeros_like(bar)
        counts = [self._count(list(works[i : i + FRAMES]), bar, nothing) for i in range(len(works) - FRAMES + 1)]
        self._streaks = sum(counts) / len(counts) if counts else 0.0
        self.falls = self._streaks > STREAKS_A_FRAME

    def clear(self, work: Luma, bar: Luma, stays: Luma, at_s: float) -> Luma:
        """Return a frame as it is, or without its streaks while it rains; `stays` is what differed before."""
        step_s, self._at_s = at_s - self._at_s, at_s
        if step_s > APART_S:
            self._works.clear()
        self._works.append(work)
        if len(self._works) < FRAMES:
            return work
        streaks = self._count(self._works, bar, stays)
        self._streaks += (1.0 - math.exp(-step_s / FOLLOW_S)) * (streaks - self._streaks)
        self.falls = self._streaks > STREAKS_A_FRAME * (ENDED_SHARE if self.falls else 1.0)
        return _median(*self._works) if self.falls else work

    def _count(self, works: Sequence[Luma], bar: Luma, stays: Luma) -> int:
        before, after = (cv2.absdiff(one, other) for one, other in pairwise(works))
        thin = self._window.thin(np.asarray(cv2.min(before, after), np.uint8))
        mask = cv2.compare(thin, bar, cv2.CMP_GT)
        outlines = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
        streaks = [outline for outline in outlines if self._is_streak(outline)]
        if not streaks:
            return 0
        near = cv2.dilate(stays, self._near)
        return sum(not near[y, x] for x, y in (outline[0, 0].tolist() for outline in streaks))

    def _is_streak(self, outline: "MatLike") -> bool:
        if len(outline) < 2.0 * self._long_px:
            return False
        long, wide = sorted(cv2.minAreaRect(outline)[1], reverse=True)
        return long + 1.0 >= self._long_px and wide + 1.0 <= self._wide_px


def _median(a: Luma, b: Luma, c: Luma) -> Luma:
    return np.asarray(cv2.max(cv2.min(a, b), cv2.min(cv2.max(a, b), c)), np.uint8)

"""When something large fills the view: nothing can be counted then, and the view may be another one afterwards."""

from collections import deque
from typing import TYPE_CHECKING

import cv2

from swapbell_device.camera import Luma
from swapbell_device.seeing.background import Background
from swapbell_device.seeing.window import Window

if TYPE_CHECKING:
    from collections.abc import Sequence

    from cv2.typing import MatLike

# Our choice: 40 mm by 40 mm is larger than any insect, and so is a finger or a stalk of 55 mm.
LARGE_MM2, REACHING_MM2, REACHING_MM = 1600.0, 250.0, 55.0
# Our choice: more than this share of the view does not change by insects.
COVERED_SHARE = 0.35
# Our choice: how long the view must be free before counting goes on, if it is the same view.
FREE_S = 1.0
# Our choice: a changed view that stands still in six frames over 0.75 s is the new one; in less than 2 % of it may
# still something walk.
STILL_FRAMES, STILL_STEP_S, STILL_SHARE = 6, 0.15, 0.02


class Veto:
    """Watches for a hand, a changed exposure, a moved bait; learns the view anew when it stands still."""

    def __init__(self, window: Window, ground: Background) -> None:
        self._window = window
        self._ground = ground
        self._until_s = -FREE_S
        self._works: deque[Luma] = deque(maxlen=STILL_FRAMES)
        self._kept_at_s = 0.0
        self.acts = False

    def holds(self, mask: Luma, outlines: "Sequence[MatLike]", work: Luma, at_s: float) -> bool:
        """Tell whether nothing may be counted in this frame."""
        if self._is_large(mask, outlines):
            self._until_s = at_s + FREE_S
        self.acts = at_s < self._until_s
        if not self.acts:
            self._works.clear()
            return False
        if not self._works or at_s - self._kept_at_s >= STILL_STEP_S:
            self._kept_at_s = at_s
            self._works.append(work.copy())
            self._relearn(at_s)
        return True

    def _relearn(self, at_s: float) -> None:
        if len(self._works) == STILL_FRAMES and self._is_still():
            self._ground.restart(self._works)
            self._works.clear()
            self._until_s = at_s

    def _is_large(self, mask: Luma, outlines: "Sequence[MatLike]") -> bool:
        covered = cv2.countNonZero(mask)
        if covered * self._window.mm_per_px**2 < REACHING_MM2:
            return False
        return covered > COVERED_SHARE * mask.size or any(map(self._is_no_insect, outlines))

    def _is_no_insect(self, outline: "MatLike") -> bool:
        area_mm2 = cv2.contourArea(outline) * self._window.mm_per_px**2
        if area_mm2 < REACHING_MM2:
            return False
        _, _, width, height = cv2.boundingRect(outline)
        return area_mm2 > LARGE_MM2 or max(width, height) * self._window.mm_per_px > REACHING_MM

    def _is_still(self) -> bool:
        latest = self._works[-1]
        bar = cv2.resize(self._ground.bar, latest.shape[::-1], interpolation=cv2.INTER_NEAREST)
        moved = (cv2.compare(cv2.absdiff(work, latest), bar, cv2.CMP_GT) for work in self._works)
        most = max(int(cv2.countNonZero(mask)) for mask in moved)
        return most < STILL_SHARE * int(latest.size)

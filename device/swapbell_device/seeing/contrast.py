"""How much bodies differ from the ground, so far and place by place: on dark ground nothing differs much."""

import math
from collections import deque
from collections.abc import Sequence
from statistics import median

import cv2
import numpy as np

from swapbell_device.camera import Luma
from swapbell_device.seeing.background import Plane
from swapbell_device.seeing.body import Body

# Our choice: how many bodies' contrasts are remembered, and what share of the usual one is worth seeing at
# all, and at least once in a body (a leg alone, a wing, a shadow is weaker).
CONTRASTS, USUAL = 60, 0.6
WORTH_SHARE, BODY_SHARE = 0.12, 0.4
# Our choice: however dark the ground, a body differs by this share of what bodies usually do.
DARKEST_SHARE = 0.1
# Our choice: bodies of these areas tell the contrast; smaller ones are often specks, larger ones often hands.
TELLING_MM2 = (8.0, 300.0)
# Our choice: how often they tell it, and how often the ground is measured.
TELL_S, MEASURE_S = 0.1, 2.1


class Contrast:
    """Learns from bodies what they differ by.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns of the mask.

    Attributes
    ----------
    share
        How much bodies can differ at each place, as a share of usual ground.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        self._contrasts: deque[float] = deque(maxlen=CONTRASTS)
        self._usual = 0.0
        self._grounds: deque[float] = deque(maxlen=CONTRASTS)
        self._level: Plane = np.zeros(shape, np.float32)
        self.share: Plane = np.ones(shape, np.float32)
        self._told_at_s = self._measured_at_s = -math.inf

    def restart(self, at_s: float) -> None:
        """Begin anew in time, with all that was learnt."""
        self._told_at_s = self._measured_at_s = at_s

    @property
    def faintest(self) -> float:
        """What a body on usual ground differs by at least once [grey levels]."""
        return BODY_SHARE * self._usual

    @property
    def worth(self) -> Plane:
        """What is worth seeing at each place [grey levels]."""
        return np.asarray(WORTH_SHARE * self._usual * self.share, np.float32)

    def tell(self, found: Sequence[Body], at_s: float) -> None:
        """Learn from the bodies of a frame, now and then."""
        if found and at_s - self._told_at_s >= TELL_S:
            self._told_at_s = at_s
            least_mm2, most_mm2 = TELLING_MM2
            seen = (body.blob for body in found)
            self._contrasts.extend(b.contrast for b in seen if b.contrast and least_mm2 < b.area_mm2 < most_mm2)
            self._grounds.extend(self._level_below(body) for body in found)
            ranked = sorted(self._contrasts)
            self._usual = ranked[int(USUAL * len(ranked))] if ranked else 0.0

    def measure(self, shown: Luma, at_s: float) -> None:
        """Learn from the background how light the ground is, now and then."""
        if at_s - self._measured_at_s >= MEASURE_S:
            self._measured_at_s = at_s
            height, width = self.share.shape
            self._level = cv2.resize(shown, (width, height), interpolation=cv2.INTER_AREA).astype(np.float32)
            if self._grounds:
                usual = np.float32(max(1.0, median(self._grounds)))
                self.share = np.clip(self._level / usual, DARKEST_SHARE, 1.0)

    def _level_below(self, body: Body) -> float:
        x, y = body.outline[0, 0].tolist()
        return float(self._level[y, x])

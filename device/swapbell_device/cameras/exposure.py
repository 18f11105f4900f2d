"""When a camera may seek its exposure, and when it is held: a count wants it fixed, the day does not stand still."""

from enum import Enum

from swapbell_device.camera import Luma

# Our choice: automatic exposure, gain and focus have found their values by then.
SETTLE_S = 1.5
# Our choice: beyond these mean levels a body's contrast begins to suffer at one end or the other.
LEVEL_MIN, LEVEL_MAX = 50.0, 190.0
# Our choice: a cloud or a hand passes; dawn does not.
BEYOND_S = 20.0
# Our choice: how often, and at every how many pixels, the level is looked at.
LOOK_S, EVERY_PX = 1.0, 16


class Order(Enum):
    """What the camera is told."""

    HOLD = "hold"
    SEEK = "seek"


class Exposure:
    """Follows the pictures and says when to hold what was found, and when to seek anew."""

    def __init__(self) -> None:
        self._seeking_since_s: float | None = None
        self._holding = False
        self._looked_s = self._fair_s = 0.0

    def next(self, image: Luma, at_s: float) -> Order | None:
        """Return what the camera is to be told at this picture, taken at `at_s` [s], if anything."""
        if self._holding:
            return self._seek(at_s) if self._is_beyond(image, at_s) else None
        if self._seeking_since_s is None:
            self._seeking_since_s = at_s
        if at_s - self._seeking_since_s < SETTLE_S:
            return None
        self._holding, self._fair_s, self._looked_s = True, at_s, at_s
        return Order.HOLD

    def _seek(self, at_s: float) -> Order:
        self._holding, self._seeking_since_s = False, at_s
        return Order.SEEK

    def _is_beyond(self, image: Luma, at_s: float) -> bool:
        if at_s - self._looked_s >= LOOK_S:
            self._looked_s = at_s
            if LEVEL_MIN <= float(image[::EVERY_PX, ::EVERY_PX].mean()) <= LEVEL_MAX:
                self._fair_s = at_s
        return at_s - self._fair_s >= BEYOND_S

"""A camera's usual pace, and the frames that it lost: a wait of more than one and a half paces."""

import math
from collections import deque

# Our choice: so many frames tell the usual pace.
FRAMES = 120
# Our choice: halfway to the wait for a frame that was lost.
LATE = 1.5


class Pace:
    """Follows the capture times of frames."""

    def __init__(self) -> None:
        self._steps_s: deque[float] = deque(maxlen=FRAMES)
        self._last_s = math.inf
        self._fresh: list[float] = []

    def note(self, at_s: float) -> None:
        """Note when a frame was taken [s]."""
        self._fresh.append(at_s - self._last_s)
        self._last_s = at_s

    def told(self) -> tuple[int, int]:
        """Return how many frames were lost since the last call, and how many came."""
        fresh, self._fresh = [step_s for step_s in self._fresh if step_s > 0.0], []
        self._steps_s.extend(fresh)
        if not self._steps_s:
            return 0, len(fresh)
        pace_s = sorted(self._steps_s)[len(self._steps_s) // 2]
        return sum(round(step_s / pace_s) - 1 for step_s in fresh if step_s > LATE * pace_s), len(fresh)

"""Who stands still: only there can a ghost be."""

import math
from collections.abc import Sequence

from swapbell_device.seeing.body import Body

# Our choice: what has moved less than this since the last renewal stands still; for so many renewals, and then every
# so many, it may be a ghost.
STILL_MM, STILL_RENEWALS, STILL_AGAIN = 1.0, 4, 8


class Rest:
    """Remembers where bodies were at the last renewal of the background, and for how many they have been there."""

    def __init__(self) -> None:
        self._spots: list[tuple[float, float, int]] = []

    def doubtful(self, found: Sequence[Body]) -> list[Body]:
        """Return the bodies that have lately come to a stand, or have stood for long: a few looks tell a ghost."""
        self._spots = [self._spot(body.blob.x_mm, body.blob.y_mm) for body in found]
        pairs = zip(found, self._spots, strict=True)
        return [body for body, (_, _, n) in pairs if 1 < n <= STILL_RENEWALS or n % STILL_AGAIN == 0]

    def _spot(self, x_mm: float, y_mm: float) -> tuple[float, float, int]:
        near = (n for x, y, n in self._spots if math.hypot(x_mm - x, y_mm - y) < STILL_MM)
        return x_mm, y_mm, max(near, default=0) + 1

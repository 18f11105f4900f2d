"""How strongly bodies differ from the ground, and how strongly everything else does: what is too faint to be one."""

import math
from collections import deque
from collections.abc import Sequence

from swapbell_device.following.track import Track

# Our choice: these sightings tell the bodies' usual contrast; each track tells it so often, once seen so often.
SIGHTINGS, TELL_S, TELL_SEEN = 300, 0.1, 8
# Our choice: what swerves less than this share of its way behaves as a body does.
STEADY_SHARE = 0.35
# Our choice: a body far weaker than three quarters of the bodies so far is a streak, a shadow, a reflection.
FAINT_SHARE = 0.45
# Our choice: so many tracks that led nowhere within this time are clutter. Where bodies differ by so many times what
# half of the clutter does, they set the bar; where they do not, there may be none, and the clutter sets it.
CLUTTER_S, CLUTTER_MIN, BODIES_TIMES, CLUTTER_TIMES = 20.0, 30, 2.0, 1.6


class Clutter:
    """Learns from tracks that go somewhere and from tracks that do not.

    Attributes
    ----------
    faint
        What differs less is too faint to be a body [grey levels].
    strength
        What clutter hardly ever differs by; 0 if there is none [grey levels].
    """

    def __init__(self) -> None:
        self._usual: deque[float] = deque(maxlen=SIGHTINGS)
        self._astray: deque[tuple[float, float]] = deque(maxlen=SIGHTINGS)
        self._told_at_s = -math.inf
        self.faint = self.strength = 0.0

    def lose(self, lost: Sequence[Track], at_s: float) -> None:
        """Take tracks that are over."""
        self._astray.extend((at_s, track.contrast) for track in lost if track.seen > 1 and not _is_steady(track))

    def tell(self, shown: Sequence[Track], at_s: float) -> bool:
        """Learn from the tracks that a frame shows, now and then; tell whether it was time."""
        if at_s - self._told_at_s < TELL_S:
            return False
        self._told_at_s = at_s
        told = (track for track in shown if track.proven and track.seen >= TELL_SEEN and _is_steady(track))
        self._usual.extend(track.contrast for track in told)
        while self._astray and at_s - self._astray[0][0] > CLUTTER_S:
            self._astray.popleft()
        self._measure()
        return True

    def _measure(self) -> None:
        ranked = sorted(self._usual)
        usual = ranked[len(ranked) * 3 // 4] if ranked else 0.0
        astray = sorted(contrast for _, contrast in self._astray)
        middle = astray[len(astray) // 2] if len(astray) >= CLUTTER_MIN else 0.0
        self.strength = CLUTTER_TIMES * middle
        self.faint = FAINT_SHARE * usual if usual > BODIES_TIMES * middle else self.strength


def _is_steady(track: Track) -> bool:
    return track.swerve_mm < STEADY_SHARE * track.way_mm

"""One body through time, and what a frame shows of it: millimetres and seconds, no OpenCV."""

import math
from dataclasses import dataclass, field
from statistics import median

from swapbell_models.optics import Point

# Our choice: how far a walking body may stray from a straight, even path in one frame, in body lengths.
STRAY_LENGTHS = 0.6
# Our choice: what a turn or a start adds to that [mm/s^2]; a leg's push moves a body its own length in 0.2 s.
PUSH_MM_PER_S2 = 600.0
# Our choice: what an uneven pace adds, as a share of the way.
PACE_SHARE = 0.3
# Our choice: a body seen this often is a body, not a flash.
SEEN_MIN = 3
# Our choice: how long a flash, a body, and one behind another body is waited for.
FLASH_S, PATIENCE_S, HIDDEN_S = 0.2, 0.5, 1.5
# Our choice: how fast the velocity follows what is seen.
VELOCITY_S = 0.12
# Our choice: this many lengths tell a body's; the median of the most is steady within 0.3 mm.
KNOWN_MIN, LENGTHS_MAX = 5, 41
# Our choice: how fast the area follows, and a step in it that means another body or a body come whole into view.
AREA_SHARE, AREA_STEP = 0.2, 2.0
# Our choice: a body that has come this far as itself is one: fragments and ghosts do not.
PROVEN_MM = 5.0
# The length of an ellipse three times as long as wide is twice the root of its area: 2 sqrt(3 / pi).
LENGTH_PER_ROOT = 1.95


@dataclass(frozen=True, slots=True)
class Blob:
    """What one frame shows of one body, or of several that touch.

    Attributes
    ----------
    x_mm, y_mm
        Its centre on the board [mm].
    length_mm
        Along its longest axis [mm].
    area_mm2
        What it covers [mm^2].
    whole
        False where the image's edge or another body cuts it: its centre and length are then not the body's.
    rim_mm
        Points along its rim [mm].
    """

    x_mm: float
    y_mm: float
    length_mm: float
    area_mm2: float
    whole: bool = True
    rim_mm: tuple[Point, ...] = ()

    def gap_mm(self, x_mm: float, y_mm: float) -> float:
        """Return how far a point lies outside [mm], 0 inside."""
        nearest = min((math.hypot(x_mm - x, y_mm - y) for x, y in self.rim_mm), default=0.0)
        return 0.0 if math.hypot(x_mm - self.x_mm, y_mm - self.y_mm) < nearest else nearest


@dataclass(slots=True, eq=False)
class Track:
    """One body through time.

    Attributes
    ----------
    number
        Its name.
    x_mm, y_mm, seen_at_s
        Where and when it was last seen.
    area_mm2, lengths_mm
        Its area, and its latest lengths while alone and whole.
    began_mm
        Where it was first seen.
    alone, hidden
        Whether its blob was its own in the last frame, or another body's.
    proven
        Whether it has moved as a body of its own.
    """

    number: int
    x_mm: float
    y_mm: float
    seen_at_s: float
    area_mm2: float
    began_mm: Point
    lengths_mm: list[float] = field(default_factory=list[float])
    vx_mm_per_s: float = 0.0
    vy_mm_per_s: float = 0.0
    seen: int = 1
    alone: bool = True
    hidden: bool = False
    proven: bool = False

    @property
    def length_mm(self) -> float:
        """Median length over the frames in which it was alone and whole [mm]."""
        return median(self.lengths_mm) if self.lengths_mm else LENGTH_PER_ROOT * math.sqrt(self.area_mm2)

    @property
    def gone_mm(self) -> float:
        """How far it has come from where it was first seen [mm]."""
        return math.dist(self.began_mm, (self.x_mm, self.y_mm))

    @property
    def patience_s(self) -> float:
        """How long it may stay unseen [s]."""
        if self.seen < SEEN_MIN:
            return FLASH_S
        return HIDDEN_S if self.hidden else PATIENCE_S

    def ahead(self, at_s: float) -> Point:
        """Return where it should be at that time [mm]."""
        wait_s = min(at_s - self.seen_at_s, PATIENCE_S)
        return self.x_mm + self.vx_mm_per_s * wait_s, self.y_mm + self.vy_mm_per_s * wait_s

    def reach_mm(self, at_s: float) -> float:
        """Return how far from there it may be [mm]."""
        wait_s = at_s - self.seen_at_s
        way_mm = math.hypot(self.vx_mm_per_s, self.vy_mm_per_s) * wait_s
        return STRAY_LENGTHS * self.length_mm + 0.5 * PUSH_MM_PER_S2 * wait_s**2 + PACE_SHARE * way_mm

    def go_on(self, x_mm: float, y_mm: float, at_s: float) -> None:
        """Move there."""
        step_s = at_s - self.seen_at_s
        share = 1.0 if self.seen == 1 else 1.0 - math.exp(-step_s / VELOCITY_S)
        self.vx_mm_per_s += share * ((x_mm - self.x_mm) / step_s - self.vx_mm_per_s)
        self.vy_mm_per_s += share * ((y_mm - self.y_mm) / step_s - self.vy_mm_per_s)
        self.x_mm, self.y_mm, self.seen_at_s = x_mm, y_mm, at_s
        self.seen += 1

    def meet(self, blob: Blob, at_s: float) -> None:
        """Take a blob as this body's."""
        self.go_on(blob.x_mm, blob.y_mm, at_s)
        if blob.whole and self.alone:
            self._measure(blob)

    def _measure(self, blob: Blob) -> None:
        if not 1.0 / AREA_STEP < blob.area_mm2 / self.area_mm2 < AREA_STEP:
            self.lengths_mm.clear()
        self.area_mm2 += AREA_SHARE * (blob.area_mm2 - self.area_mm2)
        self.lengths_mm.append(blob.length_mm)
        del self.lengths_mm[:-LENGTHS_MAX]
        known = len(self.lengths_mm) >= KNOWN_MIN
        self.proven = self.proven or (known and self.gone_mm > max(PROVEN_MM, self.length_mm))

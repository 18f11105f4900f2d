"""One body through time, and what a frame shows of it: millimetres and seconds, no OpenCV."""

import math
from dataclasses import dataclass, field

import msgspec

from swapbell_models.optics import Point

# Our choice: how far a walking body may stray from a straight, even path in one frame, in body lengths.
STRAY_LENGTHS = 0.6
# Our choice: what a turn or a start adds to that [mm/s^2]; a leg's push moves a body its own length in 0.2 s.
PUSH_MM_PER_S2 = 600.0
# Our choice: it adds no more than this; what turns up further away is another body.
PUSHED_LENGTHS = 1.0
# Our choice: what an uneven pace adds, as a share of the way.
PACE_SHARE = 0.3
# Our choice: a body seen this often is a body, not a flash.
SEEN_MIN = 3
# Our choice: how long a flash, a body, and one behind another body is waited for.
FLASH_S, PATIENCE_S, HIDDEN_S = 0.2, 0.5, 1.5
# Our choice: how fast the velocity follows what is seen.
VELOCITY_S = 0.12
# Our choice: a body is measured this many times at the most; their median is steady within 0.3 mm.
LENGTHS_MAX = 21
# Our choice: how fast area, width and contrast follow, and a step in the area that means a body come whole into view.
FOLLOW_SHARE, AREA_STEP = 0.2, 2.0
# Our choice: a body that was alone this often and has come this far is one: fragments and ghosts do not.
ALONE_MIN, ALONE_S, PROVEN_MM = 5, 0.35, 5.0
# Our choice: over this time a body's way is compared with how it swerved from where it should have been.
WAY_S = 0.7
# Our choice: a body that goes somewhere swerves less than this share of its way, and in its first frames much less;
# flutter, rain and swaying grass swerve as much as they move.
SWERVE_SHARE, EARLY_SHARE, EARLY_SEEN, SWERVE_MM = 0.65, 0.2, 6, 1.0
# Our choice: a centre is found within about half a pixel of the mask; that much is no swerving.
JITTER_MM = 0.3
# Our choice: what moves faster than an insect walks flies, and flies along its body within 37 degrees.
FLIGHT_MM_PER_S, SLENDER, ALONG = 300.0, 0.5, 0.8
# Our choice: more often a shadow than not.
SURE = 0.4
# Our choice: what is this thin for its length is a streak of rain or a blade of grass, not a body.
THIN, THIN_MM = 0.15, 6.0
# Our choice: what was only ever a part of something wider is believed after this time: two in step, not a blur.
UNMEASURED_S = 0.5
# Our choice: two in step are as likely one of an unusual shape.
UNMEASURED_CONFIDENCE = 0.5
# Our choice: a body is seen in more of the frames since it was first seen; what flickers is rain.
SEEN_SHARE = 0.6


class Blob(msgspec.Struct, frozen=True):
    """What one frame shows of one body, or of several that touch.

    Attributes
    ----------
    x_mm, y_mm
        Its centre on the board [mm].
    length_mm
        Along its longest axis [mm], greater than 0.
    area_mm2
        What it covers [mm^2], greater than 0.
    whole
        False where the image's edge cuts it.
    contrast
        Its largest difference from the background, as it would be on usual ground [grey levels]; 0 if not looked at.
    width_mm, axis_rad
        Across that axis [mm], and the axis's direction.
    measured
        Whether `length_mm` is a body's length: it was looked at closely and stands alone.
    solid
        Share of it that differs by at least half its contrast: a shadow is evenly dark, a body seldom.
    parts
        What it would be if it is several bodies in step; none if it does not look so.
    """

    x_mm: float
    y_mm: float
    length_mm: float
    area_mm2: float
    whole: bool = True
    contrast: float = 0.0
    width_mm: float = 0.0
    axis_rad: float = 0.0
    measured: bool = True
    solid: float = 0.0
    parts: tuple["Blob", ...] = ()

    def gap_mm(self, x_mm: float, y_mm: float) -> float:
        """Return how far a point lies outside its ellipse [mm], 0 inside."""
        dx, dy = x_mm - self.x_mm, y_mm - self.y_mm
        c, s = math.cos(self.axis_rad), math.sin(self.axis_rad)
        half, broad = 0.5 * self.length_mm, 0.5 * max(self.width_mm, 0.3 * self.length_mm)
        out = math.hypot((c * dx + s * dy) / half, (c * dy - s * dx) / broad)
        return 0.0 if out <= 1.0 else (1.0 - 1.0 / out) * math.hypot(dx, dy)


@dataclass(slots=True, eq=False)
class Track:
    """One body through time.

    Attributes
    ----------
    number
        Its name.
    blob
        What was last seen of it alone.
    x_mm, y_mm, seen_at_s, seen, missed
        Where and when it was last seen, and in how many frames it was and was not since the first.
    began_at_s, began_mm
        When and where it was first seen.
    length_mm, area_mm2, width_mm, contrast
        What is known of its size and of its contrast.
    own
        How often its blob was its own.
    alone, hidden, beside
        Whether, in the last frame, its blob was its own, another body's, or what hangs about a larger body.
    proven, inside, faint
        Whether it has moved as a body of its own, was ever whole in view, and is too faint to be a body.
    margin
        Its contrast as a multiple of what clutter hardly ever differs by.
    solid, cast
        Share that differs strongly, and how sure it is that this is only the shadow of another: 0 to 1.
    way_mm, swerve_mm
        How far it came lately, and by how much it missed where it should have been.
    place
        Which of the frame's blobs it was last.
    """

    number: int
    blob: Blob
    x_mm: float
    y_mm: float
    seen_at_s: float
    began_at_s: float
    began_mm: Point
    length_mm: float
    area_mm2: float
    width_mm: float
    contrast: float
    inside: bool
    vx_mm_per_s: float = 0.0
    vy_mm_per_s: float = 0.0
    seen: int = 1
    missed: int = 0
    own: int = 1
    alone: bool = True
    hidden: bool = False
    beside: bool = False
    proven: bool = False
    faint: bool = False
    margin: float = math.inf
    solid: float = 0.0
    cast: float = 0.0
    way_mm: float = 0.0
    swerve_mm: float = 0.0
    place: int = 0
    lengths_mm: list[float] = field(default_factory=list[float])

    @classmethod
    def of(cls, number: int, blob: Blob, at_s: float) -> "Track":
        """Begin a track with the first blob of a body."""
        spot = (blob.x_mm, blob.y_mm)
        size = (blob.length_mm, blob.area_mm2, blob.width_mm, blob.contrast)
        track = cls(number, blob, *spot, at_s, at_s, spot, *size, blob.whole)
        track.lengths_mm.extend([blob.length_mm] if blob.whole and blob.measured else [])
        return track

    @property
    def gone_mm(self) -> float:
        """How far it has come from where it was first seen [mm]."""
        return math.dist(self.began_mm, (self.x_mm, self.y_mm))

    @property
    def speed_mm_per_s(self) -> float:
        """How fast it is [mm/s]."""
        return math.hypot(self.vx_mm_per_s, self.vy_mm_per_s)

    @property
    def patience_s(self) -> float:
        """How long it may stay unseen [s]."""
        if self.seen < SEEN_MIN:
            return FLASH_S
        return HIDDEN_S if self.hidden else PATIENCE_S

    @property
    def believable(self) -> bool:
        """Whether it is seen, moves and looks as a body does."""
        if self.seen < max(SEEN_MIN, SEEN_SHARE * (self.seen + self.missed)) or not self.inside:
            return False
        if not self.lengths_mm and self.seen_at_s - self.began_at_s < UNMEASURED_S:
            return False
        thin = self.length_mm > THIN_MM and self.width_mm < THIN * self.length_mm
        return not (thin or self.faint or self.cast >= SURE) and self._is_steady()

    @property
    def confidence(self) -> float:
        """How sure it is that this is one body which goes somewhere, 0 to 1: as sure as the weakest evidence."""
        seen = self.seen / (self.seen + self.missed)
        steady = 1.0 - self.swerve_mm / max(self.swerve_mm, self.way_mm, SWERVE_MM)
        clear = min(1.0, self.margin - 1.0)
        lit = 1.0 - self.cast / SURE
        return max(0.0, min(seen, steady, clear, lit, 1.0 if self.lengths_mm else UNMEASURED_CONFIDENCE))

    def ahead(self, at_s: float) -> Point:
        """Return where it should be at that time [mm]."""
        wait_s = min(at_s - self.seen_at_s, PATIENCE_S)
        return self.x_mm + self.vx_mm_per_s * wait_s, self.y_mm + self.vy_mm_per_s * wait_s

    def reach_mm(self, at_s: float) -> float:
        """Return how far from there it may be [mm]."""
        wait_s = at_s - self.seen_at_s
        way_mm = math.hypot(self.vx_mm_per_s, self.vy_mm_per_s) * wait_s
        pushed_mm = min(0.5 * PUSH_MM_PER_S2 * wait_s**2, PUSHED_LENGTHS * self.length_mm)
        return STRAY_LENGTHS * self.length_mm + pushed_mm + PACE_SHARE * way_mm

    def go_on(self, x_mm: float, y_mm: float, at_s: float) -> None:
        """Move there."""
        step_s = at_s - self.seen_at_s
        self._compare(x_mm, y_mm, at_s)
        share = 1.0 if self.seen == 1 else 1.0 - math.exp(-step_s / VELOCITY_S)
        self.vx_mm_per_s += share * ((x_mm - self.x_mm) / step_s - self.vx_mm_per_s)
        self.vy_mm_per_s += share * ((y_mm - self.y_mm) / step_s - self.vy_mm_per_s)
        self.x_mm, self.y_mm, self.seen_at_s = x_mm, y_mm, at_s
        self.seen += 1

    def meet(self, blob: Blob, at_s: float) -> None:
        """Take a blob as this body's."""
        self.go_on(blob.x_mm, blob.y_mm, at_s)
        self.blob = blob
        self.inside = self.inside or blob.whole
        self.width_mm += FOLLOW_SHARE * (blob.width_mm - self.width_mm)
        if blob.contrast:
            self.contrast += 2.0 * FOLLOW_SHARE * (blob.contrast - self.contrast)
            self.solid += FOLLOW_SHARE * (blob.solid - self.solid) if self.solid else blob.solid
        if blob.whole and self.alone:
            self._grow(blob)

    def _compare(self, x_mm: float, y_mm: float, at_s: float) -> None:
        if self.seen == 1:
            return
        x, y = self.ahead(at_s)
        keep = math.exp((self.seen_at_s - at_s) / WAY_S) if self.seen >= EARLY_SEEN else 1.0
        self.way_mm = keep * self.way_mm + math.hypot(x_mm - self.x_mm, y_mm - self.y_mm)
        self.swerve_mm = keep * self.swerve_mm + max(0.0, math.hypot(x_mm - x, y_mm - y) - JITTER_MM)

    def _grow(self, blob: Blob) -> None:
        if not 1.0 / AREA_STEP < blob.area_mm2 / self.area_mm2 < AREA_STEP:
            self.lengths_mm.clear()
        self.area_mm2 += FOLLOW_SHARE * (blob.area_mm2 - self.area_mm2)
        self.own += 1
        if blob.measured:
            self.lengths_mm.append(blob.length_mm)
            del self.lengths_mm[:-LENGTHS_MAX]
            self.length_mm = sorted(self.lengths_mm)[len(self.lengths_mm) // 2]
        if not self.proven and self.own >= ALONE_MIN and self.seen_at_s - self.began_at_s >= ALONE_S:
            self.proven = self.gone_mm > max(PROVEN_MM, self.length_mm)

    def _is_steady(self) -> bool:
        if self.seen >= EARLY_SEEN:
            return self.swerve_mm < SWERVE_SHARE * self.way_mm + SWERVE_MM
        return self.swerve_mm < EARLY_SHARE * self.way_mm + SWERVE_MM and self._heads_on()

    def _heads_on(self) -> bool:
        if self.speed_mm_per_s < FLIGHT_MM_PER_S or self.blob.width_mm > SLENDER * self.blob.length_mm:
            return True
        return abs(math.cos(self.blob.axis_rad - math.atan2(self.vy_mm_per_s, self.vx_mm_per_s))) > ALONG

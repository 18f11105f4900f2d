"""From points that lie in the picture and on the board to a view, a gate, and how far both may be off."""

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.calibrating.finding import Flaw, Unusable
from swapbell_device.stationfile import GateLine
from swapbell_models.optics import Optics, Point, Square, angled

Points = NDArray[np.float64]

# Our choice: beyond it a body hides the board behind it, and the far side of a lane has half the near one's scale.
TILT_MAX_DEG = 50.0
# Our choice: a point that lies farther from its place, as a share of the points' reach, was misread.
STRAY_SHARE = 0.006
# Our choice: with more misread points than this share the board is not flat.
STRAYS_MAX_SHARE = 0.3
# What a calibration has to hold with two standard errors: the scale within a hundredth, the gate well within half a
# millimetre.
SCALE_ERROR_MAX, GATE_ERROR_MAX_MM = 0.01, 0.4
STANDARD_ERRORS = 2.0
# Which bendings are tried, as the share by which the corners move; our choice: no wide lens goes beyond them.
BENDS = (0.0, *(sign * step / 40.0 for step in range(1, 25) for sign in (1.0, -1.0)))
# Our choice: chance makes one in many fit a little better; a lens that bends makes it much better.
BEND_WORTH = 1.5
# What a square view and an angled one leave open: a turn, a scale and a shift; a homography.
SQUARE_FREEDOMS, ANGLED_FREEDOMS = 4.0, 8.0
# Our choice: a square view is believed where it fits nearly as well as an angled one, for it foretells what lies
# beyond the points better.
SQUARE_WORTH = 1.5
# Below this no picture is sharp enough to tell a square view from one that leans by a degree; our choice.
SQUARE_SURE_PX = 0.15


@dataclass(frozen=True, slots=True)
class Marked:
    """Points whose place is known, and the gate among them.

    Attributes
    ----------
    px, mm
        The same points in the picture [px] and on the board [mm], (n, 2).
    gate_mm, inside_mm
        The gate's ends and a point on the station's side, on the board [mm].
    """

    px: Points
    mm: Points
    gate_mm: tuple[Point, Point]
    inside_mm: Point

    def without(self, number: int) -> "Marked":
        """Return all but one of the points."""
        return Marked(np.delete(self.px, number, 0), np.delete(self.mm, number, 0), self.gate_mm, self.inside_mm)


@dataclass(frozen=True, slots=True)
class Calibration:
    """What a picture told.

    Attributes
    ----------
    view, gate
        As the station file holds them.
    plane
        Points in the picture [px] and on the board [mm] that fix an angled view; none of a square one.
    scale_error, gate_error_mm
        Two standard errors: of the scale, as a share; of the gate's ends [mm]. Nothing where one picture cannot tell.
    """

    view: Optics
    gate: GateLine
    plane: tuple[tuple[Point, Point], ...] = ()
    scale_error: float | None = None
    gate_error_mm: float | None = None

    @property
    def middle_px(self) -> Point:
        """The middle of the gate [px]."""
        (x1, y1), (x2, y2) = self.gate.start_px, self.gate.end_px
        return (x1 + x2) / 2.0, (y1 + y2) / 2.0

    @property
    def mm_per_px(self) -> float:
        """The scale in the middle of the gate [mm/px]."""
        return self.view.mm_per_px(*self.middle_px)

    @property
    def gate_mm(self) -> float:
        """How long the gate is [mm]."""
        return math.dist(self.view.to_mm(*self.gate.start_px), self.view.to_mm(*self.gate.end_px))

    @property
    def tilt_deg(self) -> float:
        """How the camera leans [degrees], from how much shorter the board looks one way than the other."""
        x, y = self.middle_px
        here, right, down = (np.array(self.view.to_mm(x + dx, y + dy)) for dx, dy in ((0, 0), (0.1, 0), (0, 0.1)))
        short, long = sorted(np.linalg.svd(np.vstack([right - here, down - here]), compute_uv=False))
        return math.degrees(math.acos(min(float(short / long), 1.0)))


def calibrate(marked: Marked, size: tuple[int, int]) -> Calibration:
    """Return the calibration that known points give in a picture of that width and height [px].

    Raises
    ------
    Unusable
        If the camera looks too flat over the board, the board is not flat, the lens bends straight lines too much, or
        the picture is too poor to be sure.
    """
    kept = _flat(marked)
    square = _fits_square(kept)
    made = _made(kept, square)
    if made.tilt_deg > TILT_MAX_DEG:
        raise Unusable(Flaw.TILT)
    scale_error, gate_error_mm = _errors(kept, square, made)
    if (bent := _bent_by_the_lens(kept, made, size)) > SCALE_ERROR_MAX:
        raise Unusable(Flaw.LENS)
    scale_error = math.hypot(scale_error, bent)
    if scale_error > SCALE_ERROR_MAX or gate_error_mm > GATE_ERROR_MAX_MM:
        raise Unusable(Flaw.POOR)
    return replace(made, scale_error=scale_error, gate_error_mm=gate_error_mm)


def _bent_by_the_lens(marked: Marked, made: Calibration, size: tuple[int, int]) -> float:
    """Return how far the scale at the gate is off for the lens's bending of straight lines, as a share, at least.

    One radial term (Brown 1966, Decentering distortion of lenses; from memory) is tried by how well the points
    then fit a plane; where it fits no better than without, there is none to be seen.
    """
    middle, reach = np.array(size) / 2.0, math.hypot(*size) / 2.0
    straight = {k: _unbent(marked.px, k, middle, reach) for k in BENDS}
    off = {k: _residual_px(_with(marked, px), _plane(_with(marked, px)), 1.0) for k, px in straight.items()}
    best = min(off, key=off.__getitem__)
    if off[0.0] < BEND_WORTH * off[best]:
        return 0.0
    unbent = _plane(_with(marked, straight[best]))
    around = np.array(made.middle_px) + np.array([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)])
    here, right, down = np.array(
        _through(np.asarray(np.linalg.inv(unbent), np.float64), _unbent(around, best, middle, reach))
    )
    true = math.sqrt(abs(float(np.linalg.det(np.vstack([right - here, down - here])))))
    return abs(made.mm_per_px / true - 1.0)


def _unbent(px: Points, k: float, middle: Points, reach: float) -> Points:
    out = px - middle
    return np.asarray(middle + out * (1.0 + k * (out**2).sum(axis=1, keepdims=True) / reach**2), np.float64)


def _with(marked: Marked, px: Points) -> Marked:
    return replace(marked, px=px)


def _made(marked: Marked, square: bool) -> Calibration:
    to_px = _similarity(marked) if square else _plane(marked)
    gate = GateLine(*_through(to_px, np.array([*marked.gate_mm, marked.inside_mm])))
    if square:
        return Calibration(Square(1.0 / math.hypot(to_px[0, 0], to_px[1, 0])), gate)
    corners_mm = _corners(marked.mm)
    corners_px = _through(to_px, corners_mm)
    on_board = [(float(x), float(y)) for x, y in corners_mm]
    return Calibration(angled(corners_px, on_board), gate, tuple(zip(corners_px, on_board, strict=True)))


def _flat(marked: Marked) -> Marked:
    """Return the points without those that were misread; refuse where they are many."""
    stray_px = STRAY_SHARE * float(np.ptp(marked.px, axis=0).max())
    _, kept = cv2.findHomography(marked.mm, marked.px, cv2.RANSAC, stray_px)
    chosen = np.asarray(kept).ravel() == 1
    if 1.0 - float(chosen.mean()) > STRAYS_MAX_SHARE:
        raise Unusable(Flaw.BENT)
    return Marked(marked.px[chosen], marked.mm[chosen], marked.gate_mm, marked.inside_mm)


def _plane(marked: Marked) -> Points:
    plane, _ = cv2.findHomography(marked.mm, marked.px)
    return np.asarray(plane, np.float64)


def _similarity(marked: Marked) -> Points:
    """Return the turn, scale and shift that fit best, as a 3 x 3 matrix: least squares over complex numbers."""
    mm, px = ([complex(x, y) for x, y in each.tolist()] for each in (marked.mm, marked.px))
    mm_mean, px_mean = sum(mm) / len(mm), sum(px) / len(px)
    towards = sum((m - mm_mean).conjugate() * (p - px_mean) for m, p in zip(mm, px, strict=True))
    turn = towards / sum(abs(m - mm_mean) ** 2 for m in mm)
    shift = px_mean - turn * mm_mean
    return np.array([[turn.real, -turn.imag, shift.real], [turn.imag, turn.real, shift.imag], [0.0, 0.0, 1.0]])


def _fits_square(marked: Marked) -> bool:
    freedoms = 2.0 * len(marked.px)
    square_px = _residual_px(marked, _similarity(marked), freedoms - SQUARE_FREEDOMS)
    angled_px = _residual_px(marked, _plane(marked), freedoms - ANGLED_FREEDOMS)
    return square_px <= max(SQUARE_WORTH * angled_px, SQUARE_SURE_PX)


def _residual_px(marked: Marked, to_px: Points, freedoms: float) -> float:
    off = np.array(_through(to_px, marked.mm)) - marked.px
    return math.sqrt(float((off**2).sum()) / freedoms)


def _errors(marked: Marked, square: bool, made: Calibration) -> tuple[float, float]:
    """Return two standard errors of the scale (a share) and of the gate's ends [mm], by the jackknife.

    B. Efron, The Jackknife, the Bootstrap and Other Resampling Plans (1982), chapter 3; from memory.
    """
    count = len(marked.px)
    others = [_made(marked.without(number), square) for number in range(count)]
    scales = np.array([other.mm_per_px for other in others]) / made.mm_per_px
    ends = np.array([(*other.gate.start_px, *other.gate.end_px) for other in others]) * made.mm_per_px
    spread = STANDARD_ERRORS * math.sqrt(count - 1.0)
    start, end = np.hypot(*ends.std(axis=0).reshape(2, 2).T)
    return spread * float(scales.std()), spread * float(max(start, end))


def _corners(mm: Points) -> Points:
    """Return the corners of the box around points [mm]."""
    (left, top), (right, bottom) = mm.min(axis=0), mm.max(axis=0)
    return np.array([(left, top), (right, top), (right, bottom), (left, bottom)])


def _through(matrix: Points, points: Points) -> list[Point]:
    seen = cv2.perspectiveTransform(np.asarray(points, np.float64).reshape(-1, 1, 2), matrix).reshape(-1, 2)
    return [(float(x), float(y)) for x, y in seen]

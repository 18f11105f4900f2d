"""Calibration without a card: what a person reads off a picture and measures on the board."""

import math

from swapbell_device.calibrating.fitting import Calibration
from swapbell_device.stationfile import GateLine
from swapbell_models.fault import Mistake
from swapbell_models.optics import Point, Square, angled


def points(option: str, text: str, count: int) -> list[Point]:
    """Return the image points of a text such as ``320,60 320,420`` [px], or refuse it by the option's name."""
    try:
        found = [(float(x), float(y)) for x, y in (pair.split(",") for pair in text.split())]
    except ValueError:
        found = []
    if len(found) != count or not all(map(math.isfinite, sum(found, ()))):
        example = " ".join(f"{100 * n},{60 * n}" for n in range(1, count + 1))
        raise Mistake(f"{option}: give {count} as x,y in pixels, such as '{example}', not {text[:40]!r}")
    return found


def length(text: str) -> tuple[list[Point], float]:
    """Return the two ends [px] and the length [mm] of a text such as ``100,60 500,60 is 70``."""
    where, stated = _stated("--length", text, "100,60 500,60 is 70")
    return points("--length", where, 2), _positive("--length", stated)


def sides(text: str) -> tuple[list[Point], tuple[float, float]]:
    """Return the four corners [px] and the sides [mm] of a text such as ``100,60 500,80 520,400 90,380 is 70x50``."""
    where, stated = _stated("--rectangle", text, "100,60 500,80 520,400 90,380 is 70x50")
    first, _, second = stated.partition("x")
    return points("--rectangle", where, 4), (_positive("--rectangle", first), _positive("--rectangle", second))


def by_length(ends_px: list[Point], length_mm: float, gate: GateLine) -> Calibration:
    """Return the calibration of a square view in which a length is known: a ruler laid on the board [mm]."""
    length_px = math.dist(*ends_px)
    if length_px == 0.0:
        raise Mistake("--length: its two ends are one point; give the ends of what you measured")
    return Calibration(Square(length_mm / length_px), gate)


def by_rectangle(corners_px: list[Point], sides_mm: tuple[float, float], gate: GateLine) -> Calibration:
    """Return the calibration of a view in which a rectangle's corners are known, one after the other round it.

    The first side [mm] leads from the first corner to the second.
    """
    first, second = sides_mm
    corners_mm = [(0.0, 0.0), (first, 0.0), (first, second), (0.0, second)]
    return Calibration(angled(corners_px, corners_mm), gate, tuple(zip(corners_px, corners_mm, strict=True)))


def _stated(option: str, text: str, example: str) -> tuple[str, str]:
    where, is_, stated = text.partition(" is ")
    if not is_:
        raise Mistake(f"{option}: say points, 'is', and millimetres, such as '{example}', not {text[:60]!r}")
    return where, stated


def _positive(option: str, text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = 0.0
    if not 0.0 < number < math.inf:
        raise Mistake(f"{option}: millimetres must be a number above 0, not {text.strip()[:40]!r}")
    return number

"""Where a body is at every moment: the exact motion that drawn scenes and their truth both come from."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

# Our choice: finer than any frame rate; a way is straight between two samples, so its passages are exact.
STEP_S = 0.005
# Our choice: a walking insect changes its pace and its direction within about a tenth of a second, not in a corner.
SMOOTHING_S = 0.05
# Our choice: slower than this a body stands, and keeps the heading that it has.
STANDING_MM_PER_S = 2.0
# Our choice: length of the pieces in which the pace and the way of a walker and of a flyer vary, and how far aside.
STRIDE_MM, STRIDE_ASIDE_MM = 9.0, 0.7
GLIDE_MM, GLIDE_ASIDE_MM = 45.0, 3.0
PACE_SPREAD = 0.3

Point = tuple[float, float]
Array = NDArray[np.float64]


class Pose(NamedTuple):
    """One moment of a body: its centre [mm], heading [rad], height over the board [mm], way covered so far [mm]."""

    x_mm: float
    y_mm: float
    heading_rad: float
    height_mm: float
    way_mm: float


class Leg(NamedTuple):
    """One piece of a way: where to, how fast, how high at its end, and how long the body stays there."""

    to: Point
    speed_mm_per_s: float
    dwell_s: float = 0.0
    height_mm: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """A body's poses every `STEP_S` from `start_s` on; rows of x, y, heading, height, way as in `Pose`."""

    start_s: float
    rows: Array

    @property
    def end_s(self) -> float:
        """The moment after which the body is gone [s]."""
        return self.start_s + (len(self.rows) - 1) * STEP_S

    @property
    def times_s(self) -> Array:
        """The moments of the rows [s]."""
        return self.start_s + STEP_S * np.arange(len(self.rows), dtype=np.float64)

    def pose(self, at_s: float) -> Pose | None:
        """Return the pose at a moment, None where the body is not there yet or gone."""
        place = (at_s - self.start_s) / STEP_S
        if not 0.0 <= place < len(self.rows) - 1:
            return None
        row = int(place)
        part = place - row
        return Pose(*(self.rows[row] * (1.0 - part) + self.rows[row + 1] * part).tolist())

    def between(self, first_s: float, last_s: float) -> "Way | None":
        """Return the part of the way between two moments [s], None where there is none."""
        first = max(0, math.ceil((first_s - self.start_s) / STEP_S))
        last = min(len(self.rows), math.floor((last_s - self.start_s) / STEP_S) + 1)
        return Way(self.start_s + first * STEP_S, self.rows[first:last]) if last - first > 1 else None

    def moved(self, by_mm: Point) -> "Way":
        """Return the same way somewhere else on the board [mm]."""
        return replace(self, rows=self.rows + np.array((*by_mm, 0.0, 0.0, 0.0)))

    def later(self, by_s: float) -> "Way":
        """Return the same way, started later [s]."""
        return replace(self, start_s=self.start_s + by_s)


def follow(start: Point, legs: Sequence[Leg], rng: np.random.Generator, start_height_mm: float = 0.0) -> Way:
    """Return the way of a body through the ends of its legs, with the uneven pace of a living one.

    Parameters
    ----------
    start : point
        Where it begins at 0 s [mm].
    legs : sequence of Leg
        Pieces in order; a leg that begins or ends above the board is flown.
    rng : Generator
        Source of the unevenness; the same state gives the same way.
    start_height_mm : float
        Height at the start [mm].
    """
    knots = _knots((0.0, *start, start_height_mm), legs, rng)
    times = np.arange(0.0, knots[-1, 0] + STEP_S, STEP_S)
    x, y, height = (_smooth(np.interp(times, knots[:, 0], knots[:, column])) for column in (1, 2, 3))
    step_x, step_y = np.gradient(x), np.gradient(y)
    way = np.cumsum(np.hypot(step_x, step_y))
    return Way(0.0, np.column_stack((x, y, _heading(step_x, step_y), height, way)))


def _knots(first: tuple[float, float, float, float], legs: Sequence[Leg], rng: np.random.Generator) -> Array:
    knots = [first]
    for leg in legs:
        knots.extend(_pieces(knots[-1], leg, rng))
        at_s, x, y, height = knots[-1]
        if leg.dwell_s > 0.0:
            knots.append((at_s + leg.dwell_s, x, y, height))
    return np.array(knots)


def _pieces(
    last: tuple[float, float, float, float], leg: Leg, rng: np.random.Generator
) -> list[tuple[float, float, float, float]]:
    at_s, x, y, height = last
    run_x, run_y = leg.to[0] - x, leg.to[1] - y
    length = max(math.hypot(run_x, run_y), 1e-6)
    flown = max(height, leg.height_mm) > 0.0
    piece_mm, aside_mm = (GLIDE_MM, GLIDE_ASIDE_MM) if flown else (STRIDE_MM, STRIDE_ASIDE_MM)
    count = max(1, round(length / piece_mm))
    aside = rng.normal(0.0, aside_mm, count)
    aside[-1] = 0.0
    ends = at_s + np.cumsum(
        length / count / leg.speed_mm_per_s * rng.uniform(1 - PACE_SPREAD, 1 + PACE_SPREAD, count)
    )
    part = np.arange(1, count + 1) / count
    return list(
        zip(
            ends.tolist(),
            (x + run_x * part - run_y / length * aside).tolist(),
            (y + run_y * part + run_x / length * aside).tolist(),
            (height + (leg.height_mm - height) * part).tolist(),
            strict=True,
        )
    )


def _smooth(values: Array) -> Array:
    reach = round(3 * SMOOTHING_S / STEP_S)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) * STEP_S / SMOOTHING_S) ** 2)
    padded = np.pad(values, reach, mode="reflect", reflect_type="odd")
    return np.asarray(np.convolve(padded, weights / weights.sum(), mode="valid"), np.float64)


def _heading(step_x: Array, step_y: Array) -> Array:
    moving = np.hypot(step_x, step_y) > STANDING_MM_PER_S * STEP_S
    last_moving = np.maximum.accumulate(np.where(moving, np.arange(len(moving)), -1))
    held = np.where(last_moving < 0, np.argmax(moving), last_moving)
    return _smooth(np.unwrap(np.arctan2(step_y[held], step_x[held])))

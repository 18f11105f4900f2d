"""How bodies come and go at an opening: on foot, on the wing, or first the one and then the other."""

import math
from dataclasses import dataclass

import numpy as np

from swapbell_device.drawing.opening import Opening
from swapbell_device.drawing.sight import Sight
from swapbell_device.drawing.way import Leg, Point, Way, follow

# Walking pace of a wasp 20-60 mm/s (from memory); flight near a station up to 1 m/s (our choice: a slow approach).
WALK_MM_PER_S = (20.0, 60.0)
FLIGHT_MM_PER_S = (300.0, 1000.0)
# Our choice: an approach flight slows down before it lands.
LANDING_MM_PER_S = (120.0, 300.0)
# Our choice: low over the board, so that a flyer is seen at the board's own scale within 3 %.
FLIGHT_HEIGHT_MM = (3.0, 8.0)
# Our choice: bodies use the middle part of the opening, so that no passage happens at its very end.
USED_PART = 0.7
# Our choice: a body that crosses goes on until it is clearly beyond the margin of half a body.
CLEAR_BODIES = 1.1

Rng = np.random.Generator


@dataclass(frozen=True, slots=True)
class Place:
    """Where it happens.

    Attributes
    ----------
    opening, sight
        The gate, and the view that shows it.
    deep_mm
        How far inside bodies vanish in the dark [mm]; None where they walk on until they are out of view.
    """

    opening: Opening
    sight: Sight
    deep_mm: float | None = None

    def aside(self, rng: Rng) -> float:
        """Return a place along the opening where a body may pass [mm]."""
        return float(rng.uniform(-0.5, 0.5) * USED_PART * self.opening.width_mm)

    def off_view(self, side: int, start_mm: Point, length_mm: float, rng: Rng) -> Point:
        """Return a point out of view on one side of the line (+1 inside), roughly straight away from a start."""
        if side > 0 and self.deep_mm is not None:
            return self.opening.point(self.deep_mm, self.aside(rng))
        lean = rng.uniform(-0.5, 0.5)
        beyond, aside = side * math.cos(lean), math.sin(lean)
        x, y = self.opening.point(beyond, aside)
        step_x, step_y = x - self.opening.centre_mm[0], y - self.opening.centre_mm[1]
        margin_px = 1.2 * length_mm * self.sight.px_per_mm(self.opening.centre_mm)
        away = 0.0
        while self.sight.shows((start_mm[0] + away * step_x, start_mm[1] + away * step_y), margin_px):
            away += 2.0
        return start_mm[0] + away * step_x, start_mm[1] + away * step_y


def cross(
    place: Place,
    length_mm: float,
    inward: bool,
    rng: Rng,
    pace: tuple[float, float] = WALK_MM_PER_S,
    aside_mm: float | None = None,
) -> Way:
    """Return the way of a body that walks through the opening, from out of view to out of view.

    Parameters
    ----------
    place : Place
        Where.
    length_mm : float
        The body's length [mm].
    inward : bool
        Which way.
    rng : Generator
        Source of its path and pace.
    pace : (float, float)
        Slowest and fastest mean speed [mm/s].
    aside_mm : float, optional
        Where along the opening it goes through [mm]; anywhere in its middle part unless given.
    """
    side = 1 if inward else -1
    before, after = around(place, length_mm, side, rng, aside_mm)
    speed = float(rng.uniform(*pace))
    legs = [Leg(before, speed), Leg(after, speed), Leg(place.off_view(side, after, length_mm, rng), speed)]
    return follow(place.off_view(-side, before, length_mm, rng), legs, rng)


def come(place: Place, length_mm: float, rng: Rng) -> Way:
    """Return the way of a visitor that comes in, on foot or first on the wing."""
    return arrive(place, length_mm, rng) if rng.integers(2) else cross(place, length_mm, True, rng)


def go(place: Place, length_mm: float, rng: Rng) -> Way:
    """Return the way of a visitor that goes out, on foot or at last on the wing."""
    return depart(place, length_mm, rng) if rng.integers(2) else cross(place, length_mm, False, rng)


def arrive(place: Place, length_mm: float, rng: Rng) -> Way:
    """Return the way of a body that flies up, lands outside and walks in."""
    before, after = around(place, length_mm, 1, rng)
    landing = place.opening.point(-rng.uniform(2.0, 3.0) * length_mm, place.aside(rng))
    height, speed = float(rng.uniform(*FLIGHT_HEIGHT_MM)), float(rng.uniform(*WALK_MM_PER_S))
    legs = [
        Leg(landing, float(rng.uniform(*LANDING_MM_PER_S)), float(rng.uniform(0.2, 1.0))),
        Leg(before, speed),
        Leg(after, speed),
        Leg(place.off_view(1, after, length_mm, rng), speed),
    ]
    return follow(place.off_view(-1, landing, length_mm, rng), legs, rng, height)


def depart(place: Place, length_mm: float, rng: Rng) -> Way:
    """Return the way of a body that walks out and takes off."""
    before, after = around(place, length_mm, -1, rng)
    start = place.opening.point(-rng.uniform(2.0, 2.5) * length_mm, place.aside(rng))
    height, speed = float(rng.uniform(*FLIGHT_HEIGHT_MM)), float(rng.uniform(*WALK_MM_PER_S))
    legs = [
        Leg(before, speed),
        Leg(after, speed),
        Leg(start, speed, float(rng.uniform(0.1, 0.6))),
        Leg(place.off_view(-1, start, length_mm, rng), float(rng.uniform(*LANDING_MM_PER_S)), 0.0, height),
    ]
    return follow(place.off_view(1, before, length_mm, rng), legs, rng)


def fly(place: Place, length_mm: float, inward: bool, rng: Rng, pace: tuple[float, float] = FLIGHT_MM_PER_S) -> Way:
    """Return the way of a body that flies over the line, from out of view to out of view."""
    side = 1 if inward else -1
    before, after = around(place, length_mm, side, rng)
    speed, height = float(rng.uniform(*pace)), float(rng.uniform(*FLIGHT_HEIGHT_MM))
    points = (before, after, place.off_view(side, after, length_mm, rng))
    return follow(
        place.off_view(-side, before, length_mm, rng), [Leg(p, speed, 0.0, height) for p in points], rng, height
    )


def around(place: Place, length_mm: float, side: int, rng: Rng, aside_mm: float | None = None) -> tuple[Point, Point]:
    """Return a point before the line and one beyond it, for a body that goes to that side."""
    aside = place.aside(rng) if aside_mm is None else aside_mm
    slant = float(rng.uniform(-0.3, 0.3)) * length_mm if aside_mm is None else 0.0
    reach = CLEAR_BODIES * length_mm
    return place.opening.point(-side * reach, aside - slant), place.opening.point(side * reach, aside + slant)

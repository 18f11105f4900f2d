"""A drawn station: a small view of an opening whose traffic builds up, cheap enough to run much faster than life."""

import math
from dataclasses import dataclass

import numpy as np

from swapbell_device.drawing.behaviour import Place, Rng, arrive, cross, depart, feint, fly
from swapbell_device.drawing.crowd import Crowd, Errand, looks
from swapbell_device.drawing.ground import Surface, board, speckle
from swapbell_device.drawing.insect import Insect, Kind
from swapbell_device.drawing.opening import Opening
from swapbell_device.drawing.painter import Painter, Sun
from swapbell_device.drawing.scene import Scene
from swapbell_device.drawing.sight import Sight
from swapbell_device.drawing.sprite import Picture
from swapbell_device.drawing.way import Way
from swapbell_models.optics import Square

# The trade's rule counts visits in five minutes.
WINDOW_S = 300.0
# How long a forager cuts at the bait, 1-2.5 min: from memory; it agrees with 3-5 feeding at once at 10 in 5 min.
STAY_S = (60.0, 150.0)
# Our choice: a thing that happens beside a visit does so within this time after it.
BESIDE_S = 30.0
# Pace of ants 8-20 mm/s: from memory.
ANT_MM_PER_S = (8.0, 20.0)
# Our choice: at 20 frames a second a flyer this slow is still seen in several frames of a small view.
SLOW_FLIGHT_MM_PER_S = (200.0, 400.0)
EXPOSURE_S = 0.008


@dataclass(frozen=True, slots=True)
class BuildUp:
    """Traffic that grows as foragers bring others to a lure: Poisson visits at a rate that rises in between.

    Attributes
    ----------
    seconds
        How long the station is watched [s].
    calm_per_window, busy_per_window
        Mean visits in five minutes, before and after the rise.
    rise_from_s, rise_to_s
        When the rise begins and ends [s]; in between the rate grows evenly.
    """

    seconds: float = 900.0
    calm_per_window: float = 1.0
    busy_per_window: float = 24.0
    rise_from_s: float = 120.0
    rise_to_s: float = 420.0

    def rate_per_s(self, at_s: float) -> float:
        """Return the mean visits in a second at a moment [1/s]."""
        part = min(1.0, max(0.0, (at_s - self.rise_from_s) / (self.rise_to_s - self.rise_from_s)))
        return (self.calm_per_window + part * (self.busy_per_window - self.calm_per_window)) / WINDOW_S

    def visits_s(self, rng: Rng) -> list[float]:
        """Return the moments of visits [s]: a Poisson process thinned to the rate (Lewis and Shedler 1979)."""
        most = max(self.calm_per_window, self.busy_per_window) / WINDOW_S
        candidates = np.sort(rng.uniform(0.0, self.seconds, rng.poisson(most * self.seconds)))
        return [at_s for at_s in candidates.tolist() if rng.uniform(0.0, most) < self.rate_per_s(at_s)]


def build_up(seconds: float = 900.0) -> BuildUp:
    """Return traffic that rises from about 1 to 24 visits in five minutes, in the same shape for any length [s]."""
    return BuildUp(seconds, rise_from_s=seconds * 2 / 15, rise_to_s=seconds * 7 / 15)


class DrawnStation(Scene):
    """A station with walkers, flyers, flies and ants, and its exact truth.

    Parameters
    ----------
    seed : int
        The same seed gives the same station and the same frames.
    size : (int, int)
        Width and height of the view [px].
    fps : float
        Frames in a second [1/s], greater than 0.
    mm_per_px : float
        Scale [mm/px], greater than 0.
    traffic : BuildUp, optional
        How many come, and when; `build_up()` unless given.
    """

    def __init__(
        self,
        seed: int = 1,
        size: tuple[int, int] = (320, 240),
        fps: float = 20.0,
        mm_per_px: float = 0.35,
        traffic: BuildUp | None = None,
    ) -> None:
        rng = np.random.default_rng(seed)
        traffic = traffic or build_up()
        sight = Sight(size, Square(mm_per_px))
        place = Place(_opening(size[0] * mm_per_px, size[1] * mm_per_px), sight)
        super().__init__(
            sight,
            place.opening,
            times_s=np.arange(round(traffic.seconds * fps)) / fps,
            insects=_insects(place, traffic, rng),
            board=_board(size, mm_per_px, rng),
            painter=Painter(sight, EXPOSURE_S, Sun()),
            seed=seed,
        )


def _opening(width_mm: float, height_mm: float) -> Opening:
    """Return an upright gate line, a little right of the middle, with the station on its right."""
    return Opening((0.55 * width_mm, 0.5 * height_mm), math.pi / 2, 0.9 * height_mm, -1)


def _board(size: tuple[int, int], mm_per_px: float, rng: Rng) -> Picture:
    ground = board(size, mm_per_px, Surface.WOOD, 0.6, 0.03, rng)
    speckle(ground, 12, 0.8 / mm_per_px, rng)
    return ground


def _insects(place: Place, traffic: BuildUp, rng: Rng) -> tuple[Insect, ...]:
    crowd = Crowd(looks(rng, bright_bodies=False), rng)
    for at_s in traffic.visits_s(rng):
        _visit(crowd, place, at_s, rng)
    return tuple(crowd.insects)


def _visit(crowd: Crowd, place: Place, at_s: float, rng: Rng) -> None:
    """Send a wasp in and, after its stay, out again; and now and then somebody who passes by."""
    if crowd.send(Kind.WASP, _come(place), at_s):
        crowd.send(Kind.WASP, _go(place), at_s + float(rng.uniform(*STAY_S)))
    for kind, chance, errand in _others(place):
        if rng.random() < chance:
            crowd.send(kind, errand, at_s + float(rng.uniform(0.0, BESIDE_S)))


def _come(place: Place) -> Errand:
    def errand(length_mm: float, rng: Rng) -> Way:
        return arrive(place, length_mm, rng) if rng.integers(2) else cross(place, length_mm, True, rng)

    return errand


def _go(place: Place) -> Errand:
    def errand(length_mm: float, rng: Rng) -> Way:
        return depart(place, length_mm, rng) if rng.integers(2) else cross(place, length_mm, False, rng)

    return errand


def _others(place: Place) -> tuple[tuple[Kind, float, Errand], ...]:
    """Return who else is about: kind, chance for each visit (our choice), and what it does."""
    return (
        (Kind.FLY, 0.12, lambda length_mm, rng: cross(place, length_mm, bool(rng.integers(2)), rng)),
        (Kind.ANT, 0.15, lambda length_mm, rng: cross(place, length_mm, bool(rng.integers(2)), rng, ANT_MM_PER_S)),
        (Kind.WASP, 0.1, lambda length_mm, rng: feint(place, length_mm, bool(rng.integers(2)), rng)),
        (
            Kind.WASP,
            0.08,
            lambda length_mm, rng: fly(place, length_mm, bool(rng.integers(2)), rng, SLOW_FLIGHT_MM_PER_S),
        ),
    )

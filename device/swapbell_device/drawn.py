"""A drawn station: a small view of an opening whose traffic builds up, cheap enough to run much faster than life."""

import math

import numpy as np

from swapbell_device.drawing.behaviour import Place, Rng
from swapbell_device.drawing.crowd import Crowd, looks
from swapbell_device.drawing.ground import Surface, seen_board
from swapbell_device.drawing.insect import Insect
from swapbell_device.drawing.opening import Opening
from swapbell_device.drawing.painter import Painter, Sun
from swapbell_device.drawing.scene import Scene
from swapbell_device.drawing.sight import Sight
from swapbell_device.drawing.traffic import BuildUp, build_up, visit
from swapbell_models.optics import Square

# Our choice: a board camera's exposure in daylight.
EXPOSURE_S = 0.008


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
            board=seen_board(sight, mm_per_px, Surface.WOOD, (0.6, 0.03), 12, rng),
            painter=Painter(sight, EXPOSURE_S, Sun()),
            seed=seed,
        )


def _opening(width_mm: float, height_mm: float) -> Opening:
    """Return an upright gate line, a little right of the middle, with the station on its right."""
    return Opening((0.55 * width_mm, 0.5 * height_mm), math.pi / 2, 0.9 * height_mm, -1)


def _insects(place: Place, traffic: BuildUp, rng: Rng) -> tuple[Insect, ...]:
    crowd = Crowd(looks(rng, bright_bodies=False), rng)
    for at_s in traffic.visits_s(rng):
        visit(crowd, place, at_s, rng)
    return tuple(crowd.insects)

"""A scene in the making, with everything that calibration and taste leave open drawn at random from one seed."""

import math
from collections.abc import Sequence

import numpy as np

from swapbell_device.drawing.behaviour import Place, Rng
from swapbell_device.drawing.crowd import Crowd, Errand, looks
from swapbell_device.drawing.ground import Surface, lay_wall, seen_board
from swapbell_device.drawing.insect import Kind
from swapbell_device.drawing.opening import Opening
from swapbell_device.drawing.painter import Painter, Sun
from swapbell_device.drawing.scene import DEFAULT_SENSOR, Effect, Scene
from swapbell_device.drawing.sensor import Sensor
from swapbell_device.drawing.sight import Sight, tilted
from swapbell_device.drawing.sprite import Picture
from swapbell_device.drawing.way import Array, Point
from swapbell_models.optics import Square

# Our choice of what a station's camera may be: the scales of the design, common sizes and rates.
MM_PER_PX = (0.12, 0.35)
SIZES = ((640, 480), (640, 480), (480, 360), (800, 600))
RATES_PER_S = (20.0, 25.0, 30.0)
EXPOSURES_S = (0.002, 0.012)
# Our choice: reflectance of the board below dark bodies and below bright ones; apart enough to see one on the other.
TONES_BELOW_DARK = (0.38, 0.85)
TONES_BELOW_BRIGHT = (0.06, 0.22)
TEXTURES = (0.008, 0.035)
BRIGHT_BODIES_PART = 0.25
# Our choice: the gate takes up so much of the line's way through the view.
GATE_PARTS = (0.7, 0.95)
# Our choice: nobody comes in the last seconds, so that most bodies are through before the end.
QUIET_S = 3.0
# Our choice: half of the stations have a lane with walls beside the gate.
WALLED_PART = 0.5
WALL_MM, WALL_LONG_MM = 4.0, 40.0


class Stage:
    """One station's view and its crowd; conditions send bodies on it and then take the scene.

    Parameters
    ----------
    seed : int
        Source of everything.
    seconds : float
        How long the clip is [s].
    mm_per_px : (float, float)
        Smallest and largest scale.
    size : (int, int), optional
        Width and height of the view [px]; one of `SIZES` unless given.
    fps : float, optional
        Frames in a second [1/s]; one of `RATES_PER_S` unless given.
    exposures_s : (float, float)
        Shortest and longest time that the shutter is open [s].
    tilt_rad : float
        How far the camera is tilted from square to the board [rad].
    deep_mm : float, optional
        How far inside bodies vanish in the dark [mm].
    bright : bool, optional
        Whether bright bodies walk on a dark board; one scene in four unless given.
    closed_s : (float, float)
        From when to when nobody is about [s].
    """

    def __init__(
        self,
        seed: int,
        seconds: float = 45.0,
        mm_per_px: tuple[float, float] = MM_PER_PX,
        size: tuple[int, int] | None = None,
        fps: float | None = None,
        exposures_s: tuple[float, float] = EXPOSURES_S,
        tilt_rad: float = 0.0,
        deep_mm: float | None = None,
        bright: bool | None = None,
        closed_s: tuple[float, float] = (0.0, 0.0),
    ) -> None:
        self.rng = np.random.default_rng(seed)
        self.seconds = seconds
        self.seed = seed
        self.mm_per_px = mm_per_px[0] * (mm_per_px[1] / mm_per_px[0]) ** float(self.rng.random())
        self.size = size or SIZES[int(self.rng.integers(len(SIZES)))]
        self.fps = fps or float(self.rng.choice(RATES_PER_S))
        self.exposure_s = float(self.rng.uniform(*exposures_s))
        sight = _sight(self.size, self.mm_per_px, tilt_rad, self.rng)
        self.place = Place(_opening(sight, self.rng), sight, deep_mm)
        self.bright = self.rng.random() < BRIGHT_BODIES_PART if bright is None else bright
        self.crowd = Crowd(looks(self.rng, self.bright), self.rng, closed_s)
        self.board = self._board()

    def send(self, kind: Kind, errand: Errand, at_s: float) -> None:
        """Send one body on its way at a moment [s]."""
        self.crowd.send(kind, errand, at_s)

    def moments(self, per_min: float, until_s: float | None = None) -> list[float]:
        """Return moments [s] of a steady coming and going: one in each equal part of the time, at random in it."""
        end = (self.seconds if until_s is None else until_s) - QUIET_S
        count = max(1, round(per_min * end / 60.0))
        return [float((part + self.rng.random()) * end / count) for part in range(count)]

    def scene(
        self,
        over: Sequence[Effect] = (),
        under: Sequence[Effect] = (),
        sensor: Sensor = DEFAULT_SENSOR,
        sun: Sun | None = None,
        times_s: Array | None = None,
    ) -> Scene:
        """Return the scene as it is now."""
        return Scene(
            self.place.sight,
            self.place.opening,
            np.arange(round(self.seconds * self.fps)) / self.fps if times_s is None else times_s,
            self.board,
            tuple(self.crowd.insects),
            Painter(self.place.sight, self.exposure_s, sun),
            sensor,
            tuple(under),
            tuple(over),
            self.seed,
        )

    def sun(self) -> Sun | None:
        """Return an ordinary light: an even sky in one of three scenes, else a sun that is high enough."""
        if self.rng.integers(3) == 0:
            return None
        return Sun(
            float(self.rng.uniform(-math.pi, math.pi)),
            float(self.rng.uniform(0.3, 0.9)),
            float(self.rng.uniform(0.2, 0.45)),
        )

    def _board(self) -> Picture:
        tone = self.rng.uniform(*(TONES_BELOW_BRIGHT if self.bright else TONES_BELOW_DARK))
        contrast = self.rng.uniform(*TEXTURES) * (0.5 if self.bright else 1.0)
        surface = list(Surface)[int(self.rng.integers(len(Surface)))]
        grains = int(self.rng.integers(5, 40))
        picture = seen_board(self.place.sight, self.mm_per_px, surface, (tone, contrast), grains, self.rng)
        if self.rng.random() < WALLED_PART:
            self._lay_walls(picture)
        return picture

    def _lay_walls(self, picture: Picture) -> None:
        """Lay the walls of a lane beside the gate."""
        beside, times = self.place.opening.width_mm / 2 + WALL_MM, float(self.rng.choice((0.6, 0.75, 1.25)))
        width_px = WALL_MM / self.mm_per_px
        for aside in (-beside, beside):
            ends = [
                self.place.sight.px(self.place.opening.point(beyond, aside))
                for beyond in (-WALL_LONG_MM, WALL_LONG_MM)
            ]
            lay_wall(picture, (ends[0], ends[1]), width_px, times)


def _sight(size: tuple[int, int], mm_per_px: float, tilt_rad: float, rng: Rng) -> Sight:
    if tilt_rad == 0.0:
        return Sight(size, Square(mm_per_px))
    return tilted(size, mm_per_px, tilt_rad, float(rng.uniform(-math.pi, math.pi)))


def _opening(sight: Sight, rng: Rng) -> Opening:
    """Return a gate line near the middle: upright, level or at an angle, with either side as the inside."""
    width, height = sight.size
    centre = sight.optics.to_mm(width * rng.uniform(0.42, 0.58), height * rng.uniform(0.42, 0.58))
    along = float(rng.choice((0.0, math.pi / 2, rng.uniform(-math.pi, math.pi))))
    reach = min(_reach(sight, centre, along), _reach(sight, centre, along + math.pi))
    return Opening(centre, along, 2.0 * reach * float(rng.uniform(*GATE_PARTS)), int(rng.choice((-1, 1))))


def _reach(sight: Sight, centre: Point, towards_rad: float) -> float:
    """Return how far the view shows the board from a point in a direction [mm]."""
    away = 0.0
    while sight.shows((centre[0] + away * math.cos(towards_rad), centre[1] + away * math.sin(towards_rad))):
        away += 0.5
    return away - 0.5

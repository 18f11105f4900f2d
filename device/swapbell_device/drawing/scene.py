"""A drawn scene: a camera whose frames are painted, and whose crossings are known exactly."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from swapbell_device.camera import Frame
from swapbell_device.drawing.insect import Insect
from swapbell_device.drawing.opening import Opening
from swapbell_device.drawing.painter import Painter
from swapbell_device.drawing.sensor import Exposure, Sensor
from swapbell_device.drawing.sight import Sight
from swapbell_device.drawing.sprite import Picture
from swapbell_device.drawing.way import Array
from swapbell_device.stationfile import GateLine, StationFile
from swapbell_models.sizes import size_class
from swapbell_models.tally import Crossing

# Our choice: a point this far beyond the gate line marks the inside in the station file [mm].
INSIDE_MARK_MM = 15.0


DEFAULT_SENSOR = Sensor()


class Effect(Protocol):
    """Something between the board and the sensor: weather, a hand, a shaken camera, a wet lens."""

    def __call__(self, light: Picture, at_s: float) -> Picture:
        """Return the light (height, width) that is left at a moment [s]; it may change what it gets."""
        ...


@dataclass(frozen=True, eq=False)
class Scene:
    """A camera over a drawn board.

    Attributes
    ----------
    sight, opening
        The view, and the gate line on the board.
    times_s
        When each frame is taken, counted from the first [s].
    board
        Reflectance of the board (height, width) as the view shows it, 0 to 1.
    insects
        All bodies that ever appear.
    painter, sensor
        How bodies and light become frames.
    under, over
        What happens to the board below the bodies, and between the board and the sensor, each in order.
    seed
        Source of everything random in a frame: the same scene always gives the same frames.
    """

    sight: Sight
    opening: Opening
    times_s: Array
    board: Picture
    insects: tuple[Insect, ...]
    painter: Painter
    sensor: Sensor = DEFAULT_SENSOR
    under: tuple[Effect, ...] = ()
    over: tuple[Effect, ...] = ()
    seed: int = 0

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the frames [px]."""
        return self.sight.size

    @cached_property
    def truth(self) -> tuple[Crossing, ...]:
        """All crossings in time order, from the exact ways of the bodies and never from pixels."""
        found = (crossing for insect in self.insects for crossing in self._crossings(insect))
        return tuple(sorted(found, key=lambda crossing: crossing.at_s))

    def _crossings(self, insect: Insect) -> Iterator[Crossing]:
        seen = insect.way.between(0.0, float(self.times_s[-1]))
        for at_s, direction in self.opening.passages(seen, insect.length_mm) if seen else ():
            yield Crossing(
                at_s=at_s, direction=direction, size=size_class(insect.length_mm), length_mm=insect.length_mm
            )

    @property
    def station(self) -> StationFile:
        """What calibration would have found: the view and the gate."""
        one, other = self.opening.ends()
        inside = self.opening.point(INSIDE_MARK_MM, 0.0)
        return StationFile(
            self.sight.optics, GateLine(self.sight.px(one), self.sight.px(other), self.sight.px(inside))
        )

    def frames(self) -> Iterator[Frame]:
        """Yield the frames in order; each time they are asked for, the same ones."""
        exposure = Exposure(self.sensor, self.size, np.random.default_rng(self.seed))
        coming = sorted(self.insects, key=lambda insect: insect.way.start_s, reverse=True)
        there: list[Insect] = []
        for index, at_s in enumerate(self.times_s.tolist()):
            while coming and coming[-1].way.start_s <= at_s:
                there.append(coming.pop())
            there = [insect for insect in there if insect.way.end_s > at_s]
            rng = np.random.default_rng((self.seed, index))
            yield Frame(exposure.frame(self._light(there, at_s, index), rng), at_s)

    def _light(self, there: list[Insect], at_s: float, index: int) -> Picture:
        light = self.board.copy()
        for effect in self.under:
            light = effect(light, at_s)
        self.painter.paint(light, there, at_s, index)
        for effect in self.over:
            light = effect(light, at_s)
        return light

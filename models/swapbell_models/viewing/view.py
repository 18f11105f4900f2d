"""What a camera in one of its modes sees of a lane from one distance, with the margin of every limit."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from swapbell_models.viewing.cameras import Camera, Mode
from swapbell_models.viewing.lane import BODY_MIN_PX, FRAMES_MIN, Lane, Limit, Margin
from swapbell_models.viewing.lens import Aim, frames_in_view, smear_mm

# Our choice: the circle of confusion as a share of the shortest body's length, 2 px where that is 40 px long.
CONFUSION = 1.0 / 20.0


class Side(Enum):
    """Which side of the image lies along the way of the insects."""

    WIDTH = "width"
    HEIGHT = "height"


@dataclass(frozen=True, slots=True)
class View:
    """A camera in one of its modes over a lane, at one distance.

    Attributes
    ----------
    camera, mode, lane
        What looks how at what.
    side
        The side of the image along the way.
    aim
        The camera as it hangs.
    """

    camera: Camera
    mode: Mode
    lane: Lane
    side: Side
    aim: Aim

    @property
    def along_mm(self) -> float:
        """How much of the way is in view [mm], no farther off than the camera hangs: our choice for a leaning one."""
        near, far = self.aim.reach_mm(self._sides_px[1])
        seen = near + min(far, self.aim.distance_mm)
        return seen if self.lane.length_mm is None else min(seen, self.lane.length_mm)

    @property
    def across_mm(self) -> float:
        """How much of the lane's width is in view, a body length nearer than the gate line [mm]."""
        return self.aim.across_mm(self._sides_px[0], -self.lane.body_length_mm)

    @property
    def deep_mm(self) -> float:
        """How deep it has to be sharp: the lane, and a body length each side of the gate line [mm]."""
        lean = math.radians(self.lane.tilt_deg)
        return self.lane.depth_mm * math.cos(lean) + 2.0 * self.lane.body_length_mm * math.sin(lean)

    @property
    def fps(self) -> float:
        """The most frames per second that the mode and the exposure allow [1/s]."""
        return self.mode.fps if self.lane.exposure_s is None else min(self.mode.fps, 1.0 / self.lane.exposure_s)

    @property
    def fps_min(self) -> float:
        """The fewest frames per second that see a body often enough [1/s]."""
        return FRAMES_MIN * self.lane.speed_mm_per_s / self.along_mm

    @property
    def exposure_max_s(self) -> float:
        """The longest exposure that smears no more than allowed and ends before the next frame [s]."""
        return min(self.lane.exposure_max_s, 1.0 / self.mode.fps)

    @property
    def body_px(self) -> float:
        """How long the shortest body is in the image, at the gate line [px]."""
        return self.lane.body_length_mm / self.aim.mm_per_px_along

    @property
    def sharp_mm(self) -> tuple[float, float]:
        """The nearest and the farthest distance that blur the shortest body by no more than a twentieth [mm].

        Of a lens that cannot be set, what its maker publishes.
        """
        if self.camera.is_fixed:
            return self.nearest_mm, math.inf
        return self.aim.sharp_mm(CONFUSION * self.body_px)

    @property
    def nearest_mm(self) -> float:
        """The nearest that the lens is sharp at [mm]."""
        return self.camera.fitted()[1]

    @property
    def stream_px(self) -> tuple[int, int]:
        """Width and height to which the frames can be scaled down so that a body is still long enough [px]."""
        scale = min(1.0, BODY_MIN_PX / self.body_px)
        return math.ceil(self.mode.width_px * scale), math.ceil(self.mode.height_px * scale)

    @property
    def margins(self) -> tuple[Margin, ...]:
        """Every limit, the tightest first."""
        return tuple(sorted(self._limits(), key=lambda each: each.ratio))

    def _limits(self) -> Iterator[Margin]:
        lane = self.lane
        yield Margin(Limit.BODY, self.body_px, BODY_MIN_PX, "px")
        yield Margin(Limit.FIELD, self.across_mm, lane.width_mm, "mm")
        frames = frames_in_view(self.along_mm, lane.speed_mm_per_s, self.fps)
        yield Margin(Limit.FRAMES, frames, FRAMES_MIN, "frames")
        if lane.exposure_s is not None:
            yield Margin(Limit.SMEAR, smear_mm(lane.speed_mm_per_s, lane.exposure_s), lane.smear_max_mm, "mm")
        yield Margin(Limit.FOCUS, self.aim.distance_mm - self.deep_mm / 2.0, self.nearest_mm, "mm")
        if not self.camera.is_fixed:
            near, far = self.sharp_mm
            yield Margin(Limit.DEPTH, far - near, self.deep_mm, "mm")

    @property
    def _sides_px(self) -> tuple[int, int]:
        width, height = self.mode.width_px, self.mode.height_px
        return (height, width) if self.side is Side.WIDTH else (width, height)


def view(camera: Camera, mode: Mode, lane: Lane, side: Side, distance_mm: float) -> View:
    """Return what a camera sees of a lane from a distance.

    Parameters
    ----------
    camera, mode, lane, side
        What looks how at what; `side` of the image lies along the way.
    distance_mm : float
        From the lens to the lane along the axis [mm], beyond the focal length.

    Raises
    ------
    ValueError
        If the camera has no lens, or the distance is within its focal length.
    """
    lens, _ = camera.fitted()
    aim = Aim(lens, camera.pixel_of(mode), distance_mm, lane.tilt_deg, camera.focus_mm)
    return View(camera, mode, lane, side, aim)

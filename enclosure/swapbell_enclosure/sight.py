"""What the camera sees of the lane: how far it stands, how much it sees, how sharply, and at which scale."""

from dataclasses import dataclass
from functools import cached_property

from swapbell_enclosure.parameters import Camera, Lane
from swapbell_models.viewing import cameras
from swapbell_models.viewing.framing import DISTANCES_MM, ROOM
from swapbell_models.viewing.lane import Lane as SeenLane
from swapbell_models.viewing.lens import UM_PER_MM, Lens
from swapbell_models.viewing.view import Side, View, view

# Our choice: the gate's zone fills at most so much of the image, so that an aim off by a few degrees still holds it.
FILL_MAX = 0.8
# The shortest Vespula germanica worker, Museums Victoria: 10 to 15 mm. Its width from memory.
BODY_LENGTH_MM, BODY_WIDTH_MM = 10.0, 3.5
# Our choice: a slow approach in flight; whoever walks is ten times slower.
SPEED_MM_PER_S = 300.0


@dataclass(frozen=True)
class Sight:
    """The camera over the gate, its image's width along the lane, focused on the floor, where the card is laid."""

    seen: View
    zone_mm: float

    @property
    def distance_mm(self) -> float:
        """From the lens's entrance pupil to the gate's middle on the floor [mm]."""
        return self.seen.aim.distance_mm

    @property
    def tilt_deg(self) -> float:
        """How far the axis leans towards the mouth [degrees]."""
        return self.seen.aim.tilt_deg

    @property
    def mm_per_px(self) -> float:
        """The scale at the gate, across the lane [mm/px]."""
        return self.seen.aim.mm_per_px

    @property
    def focal_px(self) -> float:
        """From the lens to the sensor, in pixels of the working image."""
        return self.distance_mm / self.mm_per_px

    @cached_property
    def field_mm(self) -> tuple[float, float]:
        """How much of the floor is seen along the lane, twice its shorter side of the gate, and across it [mm]."""
        near, _ = self.seen.aim.reach_mm(self.seen.mode.width_px)
        return 2.0 * near, self.seen.aim.across_mm(self.seen.mode.height_px, -self.zone_mm / 2.0)


def solve(camera: Camera, lane: Lane) -> Sight:
    """Return how the camera stands: where the parameters say, else as near as every limit allows with some room."""
    if camera.distance_mm is not None:
        return _sight(camera, lane, camera.distance_mm)
    nearest = camera.resolved().nearest_mm * ROOM
    sights = [_sight(camera, lane, each) for each in DISTANCES_MM if each >= nearest]
    fitting = (each for each in sights if _has_room(each, lane))
    return next(fitting, None) or max(sights, key=lambda each: each.seen.margins[0].ratio)


def _has_room(sight: Sight, lane: Lane) -> bool:
    along, _ = sight.field_mm
    return lane.zone_mm <= FILL_MAX * along and sight.seen.margins[0].ratio >= ROOM


def _sight(camera: Camera, lane: Lane, distance_mm: float) -> Sight:
    module, (width, height) = camera.resolved(), camera.image_px
    pitch_um = UM_PER_MM * min(module.sensor_mm[0] / width, module.sensor_mm[1] / height)
    mode = cameras.Mode(width, height, module.fps_max, crop_px=width)
    lens = Lens(module.focal_mm, module.f_number)
    known = cameras.Camera(
        camera.module, pitch_um, (mode,), lens, module.nearest_mm, is_fixed=False, source="the parameter file"
    )
    seen = SeenLane(
        width_mm=lane.width_mm,
        speed_mm_per_s=SPEED_MM_PER_S,
        body_length_mm=BODY_LENGTH_MM,
        body_width_mm=BODY_WIDTH_MM,
        depth_mm=lane.height_mm,
        length_mm=lane.zone_mm,
        tilt_deg=camera.tilt_deg,
    )
    return Sight(view(known, mode, seen, Side.WIDTH, distance_mm), lane.zone_mm)

"""Field conditions made by weather, light, lens and camera, with ordinary traffic or none."""

import math

import numpy as np

from swapbell_device.drawing.by_traffic import walk
from swapbell_device.drawing.hole import hole
from swapbell_device.drawing.intruders import grass
from swapbell_device.drawing.lens import Dew, Shake
from swapbell_device.drawing.light import SunDrift, clouds, leaves
from swapbell_device.drawing.painter import Sun
from swapbell_device.drawing.scene import Effect, Scene
from swapbell_device.drawing.sensor import Sensor
from swapbell_device.drawing.stage import Stage
from swapbell_device.drawing.way import Array
from swapbell_device.drawing.wet import Drops, Spots, Streaks, drops, spots

# Our choice: ordinary traffic, enough to see errors of a few per cent over several seeds.
PER_MIN = 18.0
# Falling drops, 4-9 m/s (from memory), are seen near the camera as streaks about so long in a view 150 mm wide.
STREAK_WIDTHS = 0.25
# Our choice: bodies vanish in the hole so far inside, more than two lengths.
HOLE_MM = 38.0
# Our choice: JPEG qualities at which blocks are plain to see, where a camera's default is 75 or more.
QUALITIES = (10, 30)
# Our choice: one frame in ten is lost.
LOST_PART = 0.1


def foliage(seed: int) -> Scene:
    """Draw soft shadows of leaves that sway over the board."""
    stage = _visited(seed)
    return stage.scene([leaves(stage.size, stage.mm_per_px, _some(stage, 0.3, 0.55), stage.rng)], sun=stage.sun())


def shadows(seed: int) -> Scene:
    """Draw a low sun in which bodies cast long dark shadows."""
    stage = Stage(seed, bright=False)
    walk(stage, PER_MIN)
    return stage.scene(sun=Sun(_some(stage, -math.pi, math.pi), _some(stage, 1.5, 3.0), _some(stage, 0.45, 0.7)))


def cloud(seed: int, per_min: float = PER_MIN) -> Scene:
    """Draw light that changes by up to 30 % within a second, again and again."""
    stage = _visited(seed, per_min)
    return stage.scene([clouds(stage.seconds, 0.3, 3.0, stage.rng)])


def sun_drift(seed: int) -> Scene:
    """Draw the sun's slow way, which changes the light's strength and its tilt over the view."""
    stage = _visited(seed)
    drift = SunDrift(_some(stage, 60.0, 120.0), _some(stage, 0.3, 0.5), _some(stage, 0.0, 6.0))
    return stage.scene([drift], sun=stage.sun())


def rain(seed: int) -> Scene:
    """Draw rain: streaks before the board and wet spots on it."""
    stage = _visited(seed)
    return stage.scene([_streaks(stage, _some(stage, 3.0, 8.0))], [_spots(stage, _some(stage, 1.0, 3.0))])


def wet_lens(seed: int) -> Scene:
    """Draw drops on the lens; some run."""
    stage = _visited(seed)
    return stage.scene([_drops(stage)])


def shake(seed: int) -> Scene:
    """Draw as wind moves the camera by up to 3 px."""
    stage = _visited(seed)
    return stage.scene([_shake(stage, 3.0)], sun=stage.sun())


def dusk(seed: int) -> Scene:
    """Draw in little light: dark, noisy, and blurred by a long exposure."""
    stage = Stage(seed, exposures_s=(0.015, 0.03))
    walk(stage, PER_MIN)
    return stage.scene(sensor=Sensor(_some(stage, 70.0, 120.0), _some(stage, 5.0, 10.0), 0.1))


def dew(seed: int) -> Scene:
    """Draw through a lens that is out of focus or has dew on it."""
    stage = _visited(seed)
    return stage.scene([Dew(_some(stage, 0.3, 0.7) / stage.mm_per_px, _some(stage, 0.1, 0.35))], sun=stage.sun())


def dark_hole(seed: int) -> Scene:
    """Draw a gate that is the rim of a dark hole in which bodies vanish."""
    stage = Stage(seed, deep_mm=HOLE_MM, bright=False)
    walk(stage, PER_MIN)
    shade = hole(stage.place, HOLE_MM, _some(stage, -4.0, 4.0), _some(stage, 0.7, 1.0))
    stage.board *= shade.floor
    return stage.scene([shade])


def angled_view(seed: int) -> Scene:
    """Draw a board that the camera sees at an angle of 25 to 45 degrees."""
    stage = Stage(seed, tilt_rad=float(np.random.default_rng(seed).uniform(0.44, 0.79)))
    walk(stage, PER_MIN)
    return stage.scene(sun=stage.sun())


def uneven(seed: int) -> Scene:
    """Draw frames that come unevenly, and lose some."""
    stage = Stage(seed, fps=30.0)
    walk(stage, PER_MIN)
    return stage.scene(sun=stage.sun(), times_s=_uneven(stage))


def _uneven(stage: Stage) -> Array:
    """Return capture times [s]: uneven by a fifth of a frame, some lost, and now and then a stall of 0.1-0.3 s."""
    count = round(stage.seconds * stage.fps)
    times = (np.arange(count) + np.clip(stage.rng.normal(0.0, 0.2, count), -0.45, 0.45)) / stage.fps
    kept = stage.rng.random(count) > LOST_PART
    for stall_s in stage.rng.uniform(0.0, stage.seconds, round(stage.seconds / 6.0)).tolist():
        kept &= (times < stall_s) | (times > stall_s + float(stage.rng.uniform(0.1, 0.3)))
    return np.asarray(times[kept] - times[kept][0], np.float64)


def blocks(seed: int) -> Scene:
    """Draw frames that are packed so strongly that blocks show."""
    stage = _visited(seed)
    return stage.scene(sensor=Sensor(jpeg_quality=int(stage.rng.integers(*QUALITIES))), sun=stage.sun())


def unrest(seed: int) -> Scene:
    """Draw nobody, while light, leaves, grass, rain and camera all move."""
    stage = Stage(seed)
    return stage.scene(
        [
            leaves(stage.size, stage.mm_per_px, 0.5, stage.rng),
            clouds(stage.seconds, 0.25, 5.0, stage.rng),
            grass(stage.size, 14, stage.rng),
            _streaks(stage, 2.0),
            _shake(stage, 2.0),
        ],
        [_spots(stage, 1.0)],
    )


def storm(seed: int) -> Scene:
    """Draw wind, rain, moving leaves and changing light with traffic, each a little milder than alone."""
    stage = _visited(seed)
    over: list[Effect] = [
        leaves(stage.size, stage.mm_per_px, 0.3, stage.rng),
        clouds(stage.seconds, 0.2, 6.0, stage.rng),
        _streaks(stage, 2.0),
        _shake(stage, 1.5),
    ]
    return stage.scene(over, [_spots(stage, 1.0)], Sensor(read_noise=3.0))


def _visited(seed: int, per_min: float = PER_MIN) -> Stage:
    stage = Stage(seed)
    if per_min:
        walk(stage, per_min)
    return stage


def _some(stage: Stage, least: float, most: float) -> float:
    return float(stage.rng.uniform(least, most))


def _streaks(stage: Stage, per_frame: float) -> Streaks:
    return Streaks(per_frame, _some(stage, -0.3, 0.3), STREAK_WIDTHS * stage.size[0], 0.3, stage.seed)


def _spots(stage: Stage, per_s: float) -> Spots:
    return spots(stage.size, stage.seconds, per_s, stage.mm_per_px, stage.rng)


def _drops(stage: Stage) -> Drops:
    return drops(stage.size, stage.seconds, int(stage.rng.integers(4, 10)), stage.rng)


def _shake(stage: Stage, reach_px: float) -> Shake:
    return Shake(reach_px, _some(stage, 0.8, 3.0), _some(stage, 0.0, 6.0))

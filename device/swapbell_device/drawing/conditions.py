"""The catalogue of field conditions: each is a scene drawn from a seed, with its exact truth."""

import zlib
from collections.abc import Callable, Mapping
from functools import partial

from swapbell_device.drawing import by_traffic, by_weather, groups
from swapbell_device.drawing.scene import Scene
from swapbell_models.fault import Mistake

Condition = Callable[[int], Scene]

CONDITIONS: Mapping[str, Condition] = {
    "calm": by_traffic.calm,
    "busy": by_traffic.busy,
    "flight-30": partial(by_traffic.flight, fps=30.0),
    "flight-60": partial(by_traffic.flight, fps=60.0),
    "flight-90": partial(by_traffic.flight, fps=90.0),
    "kinds": by_traffic.kinds,
    "abreast": partial(by_traffic.together, group=groups.abreast),
    "queue": partial(by_traffic.together, group=groups.queue),
    "passing": partial(by_traffic.together, group=groups.passing),
    "lingering": by_traffic.lingering,
    "feints": by_traffic.feints,
    "grooming": by_traffic.grooming,
    "resting": by_traffic.resting,
    "ant-trail": by_traffic.ant_trail,
    "begun": by_traffic.begun,
    "hand": by_traffic.hand,
    "hand-only": partial(by_traffic.hand, visited=False),
    "foliage": by_weather.foliage,
    "shadows": by_weather.shadows,
    "cloud": by_weather.cloud,
    "cloud-only": partial(by_weather.cloud, per_min=0.0),
    "sun-drift": by_weather.sun_drift,
    "rain": by_weather.rain,
    "wet-lens": by_weather.wet_lens,
    "shake": by_weather.shake,
    "dusk": by_weather.dusk,
    "dew": by_weather.dew,
    "hole": by_weather.dark_hole,
    "angled": by_weather.angled_view,
    "uneven": by_weather.uneven,
    "blocks": by_weather.blocks,
    "unrest": by_weather.unrest,
    "storm": by_weather.storm,
    "rush": by_traffic.rush,
}


def draw(condition: str, seed: int) -> Scene:
    """Return the scene of a condition; the same seed gives the same scene, and another in each condition.

    Raises
    ------
    Mistake
        If there is no such condition.
    """
    check(condition)
    return CONDITIONS[condition](zlib.crc32(f"{condition}/{seed}".encode()))


def check(condition: str) -> None:
    """Refuse a condition that is not in the catalogue."""
    if condition not in CONDITIONS:
        raise Mistake(f"condition {condition}: there is no such condition; choose from {', '.join(CONDITIONS)}")

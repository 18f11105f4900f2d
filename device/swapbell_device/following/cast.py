"""Which tracks are only the shadows of others."""

import math
from collections.abc import Sequence

from swapbell_device.following.track import Track

# Our choice: a shadow is this much more evenly dark than its body, hardly darker, of a like area, this near, and
# keeps pace with it; it is taken for one after four such sightings.
SOLID, DARK, LEAST, MOST, LENGTHS = 1.2, 1.05, 0.4, 2.5, 1.4
DRIFT_MM_PER_S, DRIFT, SHARE = 20.0, 0.3, 0.15
# Our choice: faster than any wasp walks it flies; one that flies has its shadow this near, this much weaker, and that
# is told within three frames.
FLYING_MM_PER_S, FLYING_MM, FLYING_DARK, FLYING_SHARE = 150.0, 30.0, 0.8, 0.25


def tell(shown: Sequence[Track]) -> None:
    """Let every track know how likely it is a shadow."""
    for track in shown:
        lit = any(_is_cast(track, other) for other in shown if other is not track)
        track.cast += SHARE * (lit - track.cast)


def tell_flying(shown: Sequence[Track]) -> None:
    """Do so for those that fly: they are gone before they are told often."""
    flying = [track for track in shown if track.speed_mm_per_s > FLYING_MM_PER_S]
    for track in flying:
        lit = any(_is_flying_cast(track, other) for other in flying if other is not track)
        track.cast += FLYING_SHARE * (lit - track.cast)


def _is_cast(track: Track, other: Track) -> bool:
    """Tell whether a track is as a shadow is: it goes along beside a body, and is evenly dark but no darker."""
    if track.solid < SOLID * other.solid or track.contrast > DARK * other.contrast or not other.solid:
        return False
    near = _apart_mm(track, other) < LENGTHS * other.length_mm
    return near and _is_alike(track, other) and _drift(track, other) < DRIFT_MM_PER_S + DRIFT * other.speed_mm_per_s


def _is_flying_cast(track: Track, other: Track) -> bool:
    """Tell whether a track is the shadow of a body that flies: further from it, weaker, and in step."""
    weaker = track.contrast < FLYING_DARK * other.contrast
    near = _apart_mm(track, other) < FLYING_MM
    return weaker and near and _is_alike(track, other) and _drift(track, other) < DRIFT * other.speed_mm_per_s


def _apart_mm(track: Track, other: Track) -> float:
    return math.hypot(track.x_mm - other.x_mm, track.y_mm - other.y_mm)


def _drift(track: Track, other: Track) -> float:
    return math.hypot(track.vx_mm_per_s - other.vx_mm_per_s, track.vy_mm_per_s - other.vy_mm_per_s)


def _is_alike(track: Track, other: Track) -> bool:
    return LEAST * other.area_mm2 < track.area_mm2 < MOST * other.area_mm2

"""What would make a view fit: in words, each limit that does not hold, by how much, and what would satisfy it."""

import math

from swapbell_models.viewing.framing import Framing
from swapbell_models.viewing.lane import Limit, Margin
from swapbell_models.viewing.view import View


def shortfall(margin: Margin) -> str:
    """Return what a limit lacks, in words."""
    if margin.limit is Limit.SMEAR:
        return (
            f"smear: {margin.has:.2g} mm, allowed are {margin.needs:.2g} mm ({1.0 / margin.ratio:.2g} times too much)"
        )
    return (
        f"{margin.limit.value}: {margin.has:.3g} {margin.unit}, needed are {margin.needs:.3g} {margin.unit} "
        f"({margin.ratio:.0%})"
    )


def remedies(framing: Framing) -> tuple[str, ...]:
    """Return what would each alone make a view fit, the smallest change first; nothing where it fits.

    Where no single change does, that is said.
    """
    if framing.fits:
        return ()
    if not framing.alone:
        limits = " and ".join(each.limit.value for each in framing.binding)
        return (f"no single change is enough: {limits} stand in the way together",)
    return tuple(f"{limit.value}: {_remedy(framing.best, limit, ratio)}" for limit, ratio in framing.alone.items())


def _remedy(seen: View, limit: Limit, ratio: float) -> str:
    lane, mode = seen.lane, seen.mode
    match limit:
        case Limit.BODY:
            size = "x".join(str(math.ceil(side / ratio)) for side in (mode.width_px, mode.height_px))
            return f"{size} px over the same part of the sensor, or bodies of {lane.body_length_mm / ratio:.3g} mm"
        case Limit.FRAMES:
            rate, speed = math.ceil(seen.fps / ratio), lane.speed_mm_per_s * ratio
            return f"{rate} frames per second, or insects that walk at no more than {speed:.3g} mm/s"
        case Limit.SMEAR:
            return f"an exposure of at most {lane.exposure_max_s * 1000.0:.3g} ms, with more light"
        case Limit.FIELD:
            return f"a lane of at most {lane.width_mm * ratio:.3g} mm, or a shorter focal length"
        case Limit.FOCUS:
            return f"a lens that is sharp from {(seen.camera.nearest_mm or 0.0) * ratio:.3g} mm on"
        case Limit.DEPTH:
            return f"a lane at most {lane.depth_mm * ratio:.3g} mm high, or f/{seen.aim.lens.f_number / ratio:.2g}"

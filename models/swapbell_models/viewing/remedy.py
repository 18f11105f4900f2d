"""Each limit that does not hold, in words: by how much, and what would satisfy it."""

import math

from swapbell_models.viewing.framing import Framing
from swapbell_models.viewing.lane import Limit, Margin
from swapbell_models.viewing.view import View


def rounded(value: float) -> str:
    """Return a number with three digits, for a person."""
    return f"{float(f'{value:.3g}'):.10g}"


def shortfall(margin: Margin) -> str:
    """Return what a limit lacks, in words."""
    has, needs = f"{rounded(margin.has)} {margin.unit}", f"{rounded(margin.needs)} {margin.unit}"
    if margin.limit is Limit.SMEAR:
        return f"smear: {has}, allowed are {needs} ({rounded(1.0 / margin.ratio)} times too much)"
    return f"{margin.limit.value}: {has}, needed are {needs} ({margin.ratio:.0%})"


def remedies(framing: Framing) -> tuple[str, ...]:
    """Return what would make a view fit; nothing where it fits.

    Where `framing.alone` holds something, any one of these is enough, the smallest change first; else it takes all of
    them, at the best distance.
    """
    if framing.fits:
        return ()
    lacks = framing.alone or {each.limit: each.ratio for each in framing.binding}
    return tuple(f"{limit.value}: {_remedy(framing.best, limit, ratio)}" for limit, ratio in lacks.items())


def _remedy(seen: View, limit: Limit, ratio: float) -> str:
    lane, mode = seen.lane, seen.mode
    match limit:
        case Limit.BODY:
            size = "x".join(str(math.ceil(side / ratio)) for side in (mode.width_px, mode.height_px))
            return (
                f"{size} px over the same part of the sensor, or bodies of {rounded(lane.body_length_mm / ratio)} mm"
            )
        case Limit.FRAMES:
            rate, speed = math.ceil(seen.fps / ratio), lane.speed_mm_per_s * ratio
            return f"{rate} frames per second, or insects that walk at no more than {rounded(speed)} mm/s"
        case Limit.SMEAR:
            return f"an exposure of at most {rounded(lane.exposure_max_s * 1000.0)} ms, with more light"
        case Limit.FIELD:
            return f"a lane of at most {rounded(lane.width_mm * ratio)} mm, or a shorter focal length"
        case Limit.FOCUS:
            return f"a lens that is sharp from {rounded(seen.nearest_mm * ratio)} mm on"
        case Limit.DEPTH:
            stop = rounded(seen.aim.lens.f_number / ratio)
            return f"a lane at most {rounded(lane.depth_mm * ratio)} mm high, or a lens at f/{stop}"

"""How a camera has to hang over a lane: distance, frame rate and exposure, or which limit forbids it."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from swapbell_host.trade.answer import Answer, Figure
from swapbell_models import sizes
from swapbell_models.amount import LENGTH_MM, SPEED_MM_PER_S, TIME_S, amount
from swapbell_models.quantity import positive, within
from swapbell_models.viewing.cameras import Camera, camera
from swapbell_models.viewing.framing import Framing, framings
from swapbell_models.viewing.lane import BODY_MIN_PX, FRAMES_MIN, Lane
from swapbell_models.viewing.lens import TILT_MAX_DEG, Lens
from swapbell_models.viewing.remedy import remedies, rounded, shortfall
from swapbell_models.viewing.view import View

_RULE = f"a body of {BODY_MIN_PX:g} px, a smear of a third of its width, {FRAMES_MIN:g} frames in view: our choice"
_LENS = "thin lens, without distortion: textbook relation"
_DEPTH = "Greenleaf 1950, Photographic Optics; blur of a twentieth of the shortest body: our choice"
_ARITHMETIC = "by arithmetic"
CAUTIONS = (
    "These are a maker's figures and a thin lens: calibrate, and trust the scale that calibration finds.",
    "A short exposure needs light: look at the image at dusk before you rely on it.",
    sizes.CAUTION,
    "Mount and aim while no wasps fly, in protective clothing; never alone if you are allergic.",
)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a camera is to see, as typed; what is not said is None.

    Attributes
    ----------
    camera
        The module, by its sensor's name.
    focal, f_number, nearest
        Another lens in front of it, all three or none.
    lane_width, lane_length, lane_height
        The lane: across, how much of it can be seen, and how deep it has to be sharp.
    speed, body_length, body_width
        The fastest and the smallest that is to be counted.
    exposure
        The shortest that the light allows.
    tilt
        How far the camera leans along the lane, in degrees.
    """

    camera: str
    focal: str | None
    f_number: str | None
    nearest: str | None
    lane_width: str
    lane_length: str | None
    lane_height: str
    speed: str
    body_length: str
    body_width: str
    exposure: str | None
    tilt: str


def answer(wanted: Wanted) -> Answer:
    """Return how the camera has to hang, for its best mode, and what its other modes would do.

    Raises
    ------
    ValueError
        If something typed cannot be read, or the camera comes without a lens and none is said.
    """
    module = _camera(wanted)
    best, *others = framings(module, _lane(wanted))
    return Answer(
        (*_verdict(module, best), *_setting(best.best), *_sight(best.best), *_others(others)),
        tuple(f"{module.name} does not fit: {shortfall(each)}" for each in best.binding),
        cautions=CAUTIONS,
    )


def _camera(wanted: Wanted) -> Camera:
    module, lens = camera(wanted.camera), (wanted.focal, wanted.f_number, wanted.nearest)
    match lens:
        case (None, None, None):
            return module
        case (str(focal), str(f_number), str(nearest)):
            glass = Lens(amount("--focal", focal, LENGTH_MM), positive("--f-number", _number("--f-number", f_number)))
            return module.behind(glass, amount("--nearest", nearest, LENGTH_MM))
        case _:
            raise ValueError("--focal, --f-number and --nearest describe a lens together: say all three, or none")


def _lane(wanted: Wanted) -> Lane:
    return Lane(
        width_mm=amount("--lane-width", wanted.lane_width, LENGTH_MM),
        speed_mm_per_s=amount("--speed", wanted.speed, SPEED_MM_PER_S),
        body_length_mm=amount("--body-length", wanted.body_length, LENGTH_MM),
        body_width_mm=amount("--body-width", wanted.body_width, LENGTH_MM),
        depth_mm=amount("--lane-height", wanted.lane_height, LENGTH_MM),
        length_mm=None if wanted.lane_length is None else amount("--lane-length", wanted.lane_length, LENGTH_MM),
        exposure_s=None if wanted.exposure is None else amount("--exposure", wanted.exposure, TIME_S),
        tilt_deg=within("--tilt", _number("--tilt", wanted.tilt), 0.0, TILT_MAX_DEG, "degrees"),
    )


def _number(name: str, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise ValueError(f"{name} must be a plain number with a point for decimals, not {text!r}") from None


def _verdict(module: Camera, best: Framing) -> Iterator[Figure]:
    yield Figure("camera", "camera", _glass(module), module.source, module.name)
    if best.span_mm is None:
        yield Figure("span", "fits", "nowhere; the nearest miss is below", _RULE, unit="mm")
        told = remedies(best)
        yield Figure(
            "remedies", "would fit with", ("; or " if best.alone else "; and ").join(told), _ARITHMETIC, told
        )
    else:
        near, far = best.span_mm
        yield Figure("span", "fits", f"{near:g} to {far:g} mm from lens to lane", _LENS, best.span_mm, "mm")


def _glass(module: Camera) -> str:
    lens, nearest_mm = module.fitted()
    fixed = "fixed focus, " if module.is_fixed else ""
    return f"{module.name}, {lens.focal_mm:g} mm at f/{lens.f_number:g}, {fixed}sharp from {nearest_mm:g} mm"


def _setting(seen: View) -> Iterator[Figure]:
    distance_mm = seen.aim.distance_mm
    yield Figure("distance", "hang it", f"{distance_mm:g} mm from lens to lane", _LENS, distance_mm, "mm")
    words = f"{seen.mode}, the insects' way along the image's {seen.side.value}"
    yield Figure("mode", "mode", words, seen.camera.source, [seen.mode.width_px, seen.mode.height_px], "px")
    words = f"{seen.stream_px[0]}x{seen.stream_px[1]} px and still show the shortest body {BODY_MIN_PX:g} px long"
    yield Figure("stream", "may be scaled to", words, _ARITHMETIC, seen.stream_px, "px")
    rate = f"at least {rounded(seen.fps_min)} per second ({FRAMES_MIN:g} frames in view)"
    yield Figure("fps_min", "frame rate", rate, _ARITHMETIC, seen.fps_min, "1/s")
    exposure = f"at most {rounded(seen.exposure_max_s * 1000.0)} ms"
    yield Figure("exposure_max", "exposure", exposure, _ARITHMETIC, seen.exposure_max_s, "s")


def _sight(seen: View) -> Iterator[Figure]:
    field = f"{rounded(seen.along_mm)} mm of the way, {rounded(seen.across_mm)} mm across"
    yield Figure("field", "field", field, _LENS, [seen.along_mm, seen.across_mm], "mm")
    scale = f"{rounded(seen.aim.mm_per_px)} mm/px; the shortest body is {seen.body_px:.0f} px long"
    yield Figure("scale", "scale", scale, _LENS, seen.aim.mm_per_px, "mm/px")
    near, far = seen.sharp_mm
    yield Figure(
        "sharp",
        "sharp",
        f"from {rounded(near)} mm to {'infinity' if math.isinf(far) else f'{rounded(far)} mm'}",
        _DEPTH,
        [near, far],
        "mm",
    )
    margins = {each.limit.name.lower(): each.ratio for each in seen.margins}
    words = ", ".join(f"{each.limit.value} {rounded(each.ratio)} times" for each in seen.margins)
    yield Figure("margins", "room", f"{words} what is needed", _RULE, margins, "1")


def _others(others: Sequence[Framing]) -> Iterator[Figure]:
    for place, each in enumerate(others, start=1):
        if each.span_mm:
            words = f"{each.best.mode}: fits from {each.span_mm[0]:g} to {each.span_mm[1]:g} mm"
        else:
            words = f"{each.best.mode}: {'; '.join(shortfall(lack) for lack in each.binding)}"
        yield Figure(f"other_{place}", "other mode", words, _RULE, each.fits)

"""A calibration as a station file, and in words."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from swapbell_device.calibrating.fitting import Calibration
from swapbell_device.count import whole
from swapbell_device.stationfile import StationFile
from swapbell_models.optics import Point
from swapbell_models.viewing.lane import BODY_MIN_PX
from swapbell_models.visitors import VISITORS

# Our choice: beyond this what stands up from the board hides what lies behind it, and lengths suffer.
TILT_WORTH_DEG = 15.0
# The shortest body that is counted as a wasp's.
WORKER_MM = min(visitor.shortest_mm for visitor in VISITORS if visitor.is_target)
# What the enclosure's design and a calibration of it should agree to, as a share.
EXPECTED_WITHIN = 0.02
# Our choice: below a tenth of a per cent no ruler is read.
SHOWN_MIN = 0.001


def write_station(path: Path, made: Calibration) -> None:
    """Write the station file.

    Raises
    ------
    Mistake, Breakdown
        If it has no place or cannot be written.
    """
    with whole(path) as part:
        part.write_text(station_toml(made), encoding="utf-8")


def station_toml(made: Calibration) -> str:
    """Return the station file's text."""
    return "\n".join(
        [
            "# Written by swapbell-device calibrate: calibrate again whenever the camera or the board was moved.",
            "[view]",
            *_view(made),
            "[gate]",
            f"line_px = {_points([made.gate.start_px, made.gate.end_px])}",
            f"inside_px = {_point(made.gate.inside_px)}",
            "",
        ]
    )


def words(made: Calibration, expected: StationFile | None = None) -> list[str]:
    """Return what was found, and what to look at, a line each."""
    return [*_found(made), *_advice(made), *(_agreement(made, expected) if expected else ())]


def _found(made: Calibration) -> Iterator[str]:
    sure = "" if made.scale_error is None else f", give or take {max(made.scale_error, SHOWN_MIN):.1%}"
    yield f"scale: {made.mm_per_px:.4f} mm/px at the gate{sure}"
    stated = f"as well as its points were read: a pixel is {made.mm_per_px:.2f} mm"
    known = stated if made.gate_error_mm is None else f"its ends known to {made.gate_error_mm:.2f} mm"
    yield f"gate: {made.gate_mm:.1f} mm long, {known}"
    yield f"camera: leans by {made.tilt_deg:.0f} degrees" if made.plane else "camera: square to the board"


def _advice(made: Calibration) -> Iterator[str]:
    if made.tilt_deg > TILT_WORTH_DEG:
        yield f"look: better within {TILT_WORTH_DEG:.0f} degrees of square; lengths suffer beyond"
    body_px = WORKER_MM / made.mm_per_px
    if round(body_px) < BODY_MIN_PX:
        worker = f"a worker of {WORKER_MM:.0f} mm is {body_px:.0f} px long"
        yield f"look: {worker}; bring the camera nearer for {BODY_MIN_PX:.0f}"


def _agreement(made: Calibration, expected: StationFile) -> Iterator[str]:
    foreseen = expected.view.mm_per_px(*made.middle_px)
    off = made.mm_per_px / foreseen - 1.0
    if abs(off) <= EXPECTED_WITHIN:
        yield f"design: foresees {foreseen:.4f} mm/px; {off:+.1%}, as it should be"
    else:
        yield f"look: the design foresees {foreseen:.4f} mm/px and this is {off:+.1%}; check focus, lens and distance"


def _view(made: Calibration) -> list[str]:
    if not made.plane:
        return [f"mm_per_px = {made.mm_per_px:.6f}"]
    px, mm = zip(*made.plane, strict=True)
    return [f"plane_px = {_points(px)}", f"plane_mm = {_points(mm)}"]


def _points(points: Sequence[Point]) -> str:
    return f"[{', '.join(map(_point, points))}]"


def _point(point: Point) -> str:
    return f"[{point[0]:.3f}, {point[1]:.3f}]"

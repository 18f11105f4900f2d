"""The station file: where the gate lies in the image and how image points lie on the board."""

import math
from dataclasses import dataclass, field
from pathlib import Path

import msgspec

from swapbell_models import settings
from swapbell_models.fault import Mistake
from swapbell_models.optics import COORDINATE_MAX, Optics, Point, Square, angled, check_scale

# Our choice: a gate shorter than this cannot let a wasp through (thorax about 3.5 mm).
GATE_MIN_MM = 1.0


class View(msgspec.Struct, frozen=True, kw_only=True):
    """The file's `[view]`: a scale, or the same points in the image and on the board."""

    mm_per_px: float | None = None
    plane_px: tuple[Point, ...] | None = None
    plane_mm: tuple[Point, ...] | None = None


class Gate(msgspec.Struct, frozen=True, kw_only=True):
    """The file's `[gate]`: the line's two ends, and a point on the station's side."""

    line_px: tuple[Point, Point]
    inside_px: Point


class Sheet(msgspec.Struct, frozen=True, kw_only=True):
    """The file as it is written."""

    view: View
    gate: Gate


@dataclass(frozen=True, slots=True)
class GateLine:
    """The gate segment in the image [px], and any point on the station's side of it."""

    start_px: Point
    end_px: Point
    inside_px: Point


@dataclass(frozen=True, slots=True)
class StationFile:
    """What calibration knows of a station's view; `name` is what to call it in a complaint."""

    view: Optics
    gate: GateLine
    name: str = field(default="station file", compare=False)

    def check_size(self, size: tuple[int, int]) -> None:
        """Refuse a gate that lies outside an image of this width and height [px]."""
        width, height = size
        for x, y in (self.gate.start_px, self.gate.end_px):
            if not (0.0 <= x <= width and 0.0 <= y <= height):
                raise Mistake(
                    f"{self.name}: gate.line_px has ({x:g}, {y:g}) outside the image of {width} x {height} px; "
                    "calibrate again with this camera's size"
                )


def read_station(path: Path) -> StationFile:
    """Read and check a station file.

    Raises
    ------
    Mistake
        If it cannot be read, is no TOML, has a key that is not ours, or values that no view can have.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        way_out = "check the path, or let swapbell-device calibrate write it"
        raise Mistake(f"station file {path}: there is no such file; {way_out}") from error
    except OSError as error:
        raise Mistake(f"station file {path}: {error.strerror}; check the path") from error
    except UnicodeDecodeError as error:
        raise Mistake(f"station file {path}: not a text file; it must be TOML in UTF-8") from error
    return parse_station(text, str(path))


def parse_station(text: str, name: str) -> StationFile:
    """Check the text of a station file; `name` stands in the message of a `Mistake`."""
    what = f"station file {name}"
    sheet = settings.parse(text, Sheet, what)
    try:
        optics = _optics(sheet.view)
        return StationFile(optics, _gate(sheet.gate, optics), what)
    except ValueError as error:
        raise Mistake(f"{what}: {error}") from error


def _optics(view: View) -> Optics:
    match view:
        case View(mm_per_px=float(scale), plane_px=None, plane_mm=None):
            return Square(scale)
        case View(mm_per_px=None, plane_px=tuple(image_px), plane_mm=tuple(board_mm)):
            return angled(image_px, board_mm)
        case _:
            raise ValueError("view needs either mm_per_px, or plane_px together with plane_mm")


def _gate(gate: Gate, optics: Optics) -> GateLine:
    (start, end), inside = gate.line_px, gate.inside_px
    if not all(abs(number) <= COORDINATE_MAX for number in (*start, *end, *inside)):
        raise ValueError(f"gate.line_px and gate.inside_px need finite numbers, none beyond {COORDINATE_MAX:g}")
    check_scale(optics, (start, end))
    if math.dist(optics.to_mm(*start), optics.to_mm(*end)) < GATE_MIN_MM:
        raise ValueError(f"gate.line_px is shorter than {GATE_MIN_MM:g} mm; its two ends must lie apart")
    if _is_on_line(start, end, inside):
        raise ValueError("gate.inside_px lies on the gate line; choose a point on the station's side")
    return GateLine(start, end, inside)


def _is_on_line(start: Point, end: Point, point: Point) -> bool:
    (x1, y1), (x2, y2), (x, y) = start, end, point
    return (x2 - x1) * (y - y1) == (y2 - y1) * (x - x1)

"""The station file: where the gate lies in the image and how image points lie on the board."""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn, cast

from swapbell_models.fault import Mistake
from swapbell_models.optics import Optics, Point, Square, angled

SECTIONS = {"view": {"mm_per_px", "plane_px", "plane_mm"}, "gate": {"line_px", "inside_px"}}
NEEDED = {"view": set[str](), "gate": {"line_px", "inside_px"}}
# Our choice: a gate shorter than this cannot let a wasp through (thorax about 3.5 mm).
GATE_MIN_MM = 1.0


@dataclass(frozen=True, slots=True)
class GateLine:
    """The gate segment in the image [px], and any point on the station's side of it."""

    start_px: Point
    end_px: Point
    inside_px: Point


@dataclass(frozen=True, slots=True)
class StationFile:
    """What calibration knows of a station's view."""

    view: Optics
    gate: GateLine

    def check_size(self, size: tuple[int, int]) -> None:
        """Refuse a gate that lies outside an image of this width and height [px]."""
        width, height = size
        for x, y in (self.gate.start_px, self.gate.end_px):
            if not (0.0 <= x <= width and 0.0 <= y <= height):
                raise Mistake(
                    f"station file: gate.line_px has ({x:g}, {y:g}) outside the image of {width} x {height} px; "
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
    except OSError as error:
        raise Mistake(f"station file {path}: {error.strerror}; check the path") from error
    except UnicodeDecodeError as error:
        raise Mistake(f"station file {path}: not a text file; it must be TOML in UTF-8") from error
    return parse_station(text, str(path))


def parse_station(text: str, name: str) -> StationFile:
    """Check the text of a station file; `name` stands in the message of a `Mistake`."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Mistake(f"station file {name}: not valid TOML: {error}") from error
    sheet = _Sheet(name, document)
    optics = sheet.optics()
    return StationFile(optics, sheet.gate(optics))


class _Sheet:
    """One parsed document and its name for messages."""

    def __init__(self, name: str, document: Mapping[str, object]) -> None:
        self._name = name
        for section in document:
            if section not in SECTIONS:
                self._refuse(f"unknown key {section}; it has the sections view and gate")
        self._view = self._section(document, "view")
        self._gate = self._section(document, "gate")

    def optics(self) -> Optics:
        flat, plane = "mm_per_px" in self._view, {"plane_px", "plane_mm"} & set(self._view)
        if flat == bool(plane) or len(plane) == 1:
            self._refuse("view needs either mm_per_px, or plane_px together with plane_mm")
        try:
            if flat:
                return Square(self._number("view.mm_per_px", self._view["mm_per_px"]))
            return angled(self._points("view.plane_px", self._view), self._points("view.plane_mm", self._view))
        except ValueError as error:
            self._refuse(f"view: {error}")

    def gate(self, optics: Optics) -> GateLine:
        line = self._points("gate.line_px", self._gate)
        if len(line) != 2:  # noqa: PLR2004  (a segment has two ends)
            self._refuse(f"gate.line_px needs two points, not {len(line)}")
        start, end = line
        inside = self._point("gate.inside_px", self._gate["inside_px"])
        if math.dist(optics.to_mm(*start), optics.to_mm(*end)) < GATE_MIN_MM:
            self._refuse(f"gate.line_px is shorter than {GATE_MIN_MM:g} mm; its two ends must lie apart")
        if _is_on_line(start, end, inside):
            self._refuse("gate.inside_px lies on the gate line; choose a point on the station's side")
        return GateLine(start, end, inside)

    def _section(self, document: Mapping[str, object], section: str) -> Mapping[str, object]:
        table = document.get(section)
        if not isinstance(table, dict):
            self._refuse(f"the section [{section}] is missing")
        keys = {str(key) for key in cast("dict[object, object]", table)}
        if unknown := sorted(keys - SECTIONS[section]):
            self._refuse(f"unknown key {section}.{unknown[0]}; it may have {', '.join(sorted(SECTIONS[section]))}")
        if missing := sorted(NEEDED[section] - keys):
            self._refuse(f"{section}.{missing[0]} is missing")
        return cast("dict[str, object]", table)

    def _points(self, key: str, table: Mapping[str, object]) -> list[Point]:
        value = table[key.rpartition(".")[2]]
        if not isinstance(value, list):
            self._refuse(f"{key} must be a list of points [x, y]")
        return [self._point(key, point) for point in cast("list[object]", value)]

    def _point(self, key: str, value: object) -> Point:
        numbers = cast("list[object]", value) if isinstance(value, list) else []
        if len(numbers) != 2:  # noqa: PLR2004  (x and y)
            self._refuse(f"{key} needs points of two numbers [x, y]")
        return self._number(key, numbers[0]), self._number(key, numbers[1])

    def _number(self, key: str, value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            self._refuse(f"{key} must be a finite number, not {value}")
        return float(value)

    def _refuse(self, what: str) -> NoReturn:
        raise Mistake(f"station file {self._name}: {what}")


def _is_on_line(start: Point, end: Point, point: Point) -> bool:
    (x1, y1), (x2, y2), (x, y) = start, end, point
    return (x2 - x1) * (y - y1) == (y2 - y1) * (x - x1)

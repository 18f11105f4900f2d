"""Dimensioned drawings of the printed parts: three views, their outer sizes, and a table of the holes."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from build123d import Edge, GeomType, Plane, Solid, Vector

from swapbell_enclosure.facets import to_bed
from swapbell_enclosure.paper import SHEET_MM, Paper, Place
from swapbell_enclosure.part import Part
from swapbell_enclosure.solid import Point3

# Our choice: room around each view for its dimensions.
MARGIN_MM = 14.0
HOLES_MAX = 14
# Our choice: what is rounder than that is no hole to drill.
HOLE_MAX_MM = 15.0


@dataclass(frozen=True, slots=True)
class Side:
    """One view: where it is seen from, what is up in it, and which coordinates its right and its up are."""

    name: str
    seen_from: Point3
    up: Point3
    axes: tuple[int, int]


SIDES = (
    Side("from above", (0.0, 0.0, 1e4), (0.0, 1.0, 0.0), (0, 1)),
    Side("from the front", (0.0, -1e4, 0.0), (0.0, 0.0, 1.0), (0, 2)),
    Side("from the right", (1e4, 0.0, 0.0), (0.0, 0.0, 1.0), (1, 2)),
)


def lying(part: Part) -> Solid:
    """Return a part's solid as it lies on the bed, its lowest corner at the origin."""
    x, _, z = to_bed(part.up).tolist()
    turned = Plane(origin=(0.0, 0.0, 0.0), x_dir=tuple(x), z_dir=tuple(z)).location.inverse() * part.body
    return turned.translate(-turned.bounding_box().min)


def draw_part(part: Part, path: Path) -> None:
    """Write a part's drawing; parts too large for the sheet are drawn at 1:2."""
    body = lying(part)
    size = body.bounding_box().size
    x, y, z = size.X, size.Y, size.Z
    whole = (x + y + 3 * MARGIN_MM, y + z + 3 * MARGIN_MM)
    scale = next(
        each for each in (1.0, 0.5, 0.25) if whole[0] * each + 10 < SHEET_MM[0] and whole[1] * each < SHEET_MM[1] - 75
    )
    holes = list(round_holes(body))[:HOLES_MAX]
    sheet = Paper(part.name.value, [f"mm, 1:{1 / scale:g}, as it lies on the printer's bed; {part.material}"])
    top, left = SHEET_MM[1] - 26.0, 10.0 + MARGIN_MM
    above = (left, top - y * scale)
    front = (left, above[1] - MARGIN_MM * 2 - z * scale)
    right = (left + x * scale + MARGIN_MM * 2, front[1])
    for side, at in zip(SIDES, (above, front, right), strict=True):
        _view(sheet, body, side, at, scale)
    for (left, low), width, height in ((above, x * scale, y * scale), (right, y * scale, z * scale)):
        sheet.measure((left, low + height), (left + width, low + height), 5.0, scale)
        sheet.measure((left, low), (left, low + height), 5.0, scale)
    for letter, ((hx, hy), diameter) in zip("ABCDEFGHIJKLMN", holes, strict=False):
        sheet.write((above[0] + hx * scale + 2.2, above[1] + hy * scale + 1.8), letter, points=6.5, middle=True)
        row = 16.0 + 4.2 * (HOLES_MAX - ord(letter) + ord("A"))
        sheet.write((10.0, row - 3.0), f"{letter}   x {hx:7.2f}   y {hy:7.2f}   diameter {diameter:.2f}")
    sheet.save(path)


def round_holes(body: Solid) -> Iterator[tuple[Place, float]]:
    """Yield each upright round hole's middle [mm] and diameter [mm], once, as seen from above."""
    seen: set[tuple[float, float]] = set()
    for face in body.faces().filter_by(GeomType.CYLINDER):
        axis, point = face.axis_of_rotation, face.center()
        if axis is None or not math.isclose(abs(axis.direction.Z), 1.0) or face.radius is None:
            continue
        middle = (round(axis.position.X, 2), round(axis.position.Y, 2))
        hollow = (point - Vector(*middle, point.Z)).dot(face.normal_at(point)) <= 0
        if hollow and middle not in seen and face.radius < HOLE_MAX_MM:
            seen.add(middle)
            yield middle, 2 * face.radius


def _view(sheet: Paper, body: Solid, side: Side, at: Place, scale: float) -> None:
    visible, hidden = body.project_to_viewport(side.seen_from, side.up, look_at=(0.0, 0.0, 0.0))
    for edges, dashed, wide in ((hidden, True, 0.25), (visible, False, 0.7)):
        for edge in edges:
            points = [(at[0] + p.X * scale, at[1] + p.Y * scale) for p in _points(edge)]
            sheet.line(points, dashed=dashed, wide_pt=wide)
    sheet.write((at[0], at[1] - 5.0), side.name, points=6.5)


def _points(edge: Edge) -> list[Vector]:
    steps = 1 if edge.geom_type is GeomType.LINE else 16
    return [edge.position_at(each / steps) for each in range(steps + 1)]

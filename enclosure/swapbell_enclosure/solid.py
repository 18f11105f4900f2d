"""The few shapes that all parts are made of, by the CAD kernel."""
# build123d leaves type parameters open:
# pyright: reportUnknownMemberType=false

from collections.abc import Iterable, Sequence

from build123d import (
    Align,
    Axis,
    Box,
    Compound,
    Cylinder,
    Plane,
    Polyline,
    Pos,
    Solid,
    ThreePointArc,
    extrude,
    make_face,
    revolve,
)

from swapbell_enclosure.layout import Point3, Span

# A hole is cut a little longer than the wall that it goes through, so that no skin is left.
OVERCUT_MM = 0.5


def block(x: Span, y: Span, z: Span) -> Solid:
    """Return the box between these bounds [mm]."""
    box = Box(x[1] - x[0], y[1] - y[0], z[1] - z[0], align=(Align.MIN, Align.MIN, Align.MIN))
    return solid(Pos(x[0], y[0], z[0]) * box)


def rod(start: Point3, direction: Point3, length: float, diameter: float) -> Solid:
    """Return a round rod [mm]."""
    plane = Plane(origin=start, z_dir=direction)
    return solid(plane * Cylinder(diameter / 2, length, align=(Align.CENTER, Align.CENTER, Align.MIN)))


def pit(start: Point3, direction: Point3, length: float, diameter: float) -> Solid:
    """Return a rod with a pointed end: a blind hole that prints either way up."""
    half = diameter / 2
    outline = Polyline((0.0, 0.0), (half, 0.0), (half, length), (0.0, length + half), close=True)
    plane = Plane(origin=start, z_dir=direction)
    return solid(plane * revolve((Plane.XZ * make_face(outline)).face(), Axis.Z))


def drop(start: Point3, direction: Point3, length: float, diameter: float, up: Point3) -> Solid:
    """Return a rod with a roof of 45 degrees towards `up`: a level hole that prints without support."""
    plane = Plane(origin=start, x_dir=up, z_dir=direction)
    half = diameter / 2
    edge = half * 0.5**0.5
    arc = ThreePointArc((edge, edge), (-half, 0.0), (edge, -edge))
    roof = Polyline((edge, -edge), (half * 2**0.5, 0.0), (edge, edge))
    return solid(extrude(plane * make_face([arc, roof]), amount=length))


def prism(plane: Plane, outline: Sequence[tuple[float, float]], length: float) -> Solid:
    """Return an outline in a plane, drawn out along the plane's normal [mm]."""
    return solid(extrude(plane * make_face(Polyline(*outline, close=True)), amount=length))


def profile_y(outline: Sequence[tuple[float, float]], y: Span) -> Solid:
    """Return an outline (x, z) drawn out across the lane [mm]."""
    return prism(Plane(origin=(0.0, y[1], 0.0), x_dir=(1.0, 0.0, 0.0), z_dir=(0.0, -1.0, 0.0)), outline, y[1] - y[0])


def profile_x(outline: Sequence[tuple[float, float]], x: Span) -> Solid:
    """Return an outline (y, z) drawn out along the lane [mm]."""
    return prism(Plane(origin=(x[0], 0.0, 0.0), x_dir=(0.0, 1.0, 0.0), z_dir=(1.0, 0.0, 0.0)), outline, x[1] - x[0])


def joined(first: Solid, *others: Solid) -> Solid:
    """Return these as one solid.

    Raises
    ------
    ValueError
        If they do not hang together.
    """
    return solid(first.fuse(*others)) if others else first


def cut(body: Solid, tools: Iterable[Solid]) -> Solid:
    """Return the body without the tools.

    Raises
    ------
    ValueError
        If more or less than one solid is left.
    """
    given = list(tools)
    return solid(body.cut(*given)) if given else body


def solid(shape: Solid | Compound) -> Solid:
    """Return the one solid that a shape is.

    Raises
    ------
    ValueError
        If it is none or several.
    """
    pieces = list(shape.solids())
    if len(pieces) != 1:
        raise ValueError(f"{len(pieces)} solids where one was meant")
    return pieces[0]


__all__ = ["Plane", "Point3", "Solid", "Span"]

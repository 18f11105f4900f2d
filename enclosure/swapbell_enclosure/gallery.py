"""The pictures of a design: the assembly from outside, and what the camera would see of it."""
# matplotlib leaves its keyword arguments untyped:
# pyright: reportUnknownMemberType=false

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
from build123d import Vector
from matplotlib import image

from swapbell_enclosure.assembly import Assembly
from swapbell_enclosure.facets import COARSE, facets
from swapbell_enclosure.layout import Layout
from swapbell_enclosure.part import Part
from swapbell_enclosure.places import gaze
from swapbell_enclosure.render import Colour, Picture, Surface, View, draw, orthographic, pinhole
from swapbell_enclosure.screws import ADAPTERS, Name
from swapbell_enclosure.solid import Point3, Solid

SIZE = (900, 900)
LIGHT_SHEETS: dict[Name, Colour] = {
    Name.INSERT: (236, 236, 226),
    Name.WINDOW: (186, 216, 232),
    Name.DIFFUSER: (250, 250, 242),
    Name.MESH: (170, 170, 170),
    Name.GASKET: (90, 90, 96),
}
# Our choice: neighbours in different colours, none of them a warning.
PRINTED: tuple[Colour, ...] = ((92, 110, 130), (150, 122, 92), (108, 128, 108), (128, 110, 138))


# How far each part is drawn from its place to show what goes where [mm]: along the lane, outwards across it, up.
APART: dict[Name, tuple[float, float, float]] = {
    Name.HANGER: (0.0, 0.0, 150.0),
    Name.LID: (0.0, 0.0, 125.0),
    Name.GASKET: (0.0, 0.0, 105.0),
    Name.MESH_FRAME: (0.0, 0.0, 85.0),
    Name.MESH: (0.0, 0.0, 75.0),
    Name.BOX: (0.0, 0.0, 50.0),
    Name.CAMERA_PLATE: (0.0, 0.0, 28.0),
    Name.FRAME: (0.0, 55.0, 0.0),
    Name.DIFFUSER: (0.0, 30.0, 0.0),
    Name.VISOR: (-45.0, 0.0, 0.0),
    Name.WINDOW: (0.0, 0.0, -40.0),
    Name.INSERT: (0.0, 0.0, -60.0),
    Name.LANE: (0.0, 0.0, -85.0),
    Name.LANDING: (-35.0, 0.0, -85.0),
    **dict.fromkeys(ADAPTERS, (30.0, 0.0, -85.0)),
}


def apart(assembly: Assembly) -> Assembly:
    """Return the assembly pulled apart, as a picture of what goes where."""

    def pulled(part: Part) -> Part:
        x, y, z = APART.get(part.name, (0.0, 0.0, 0.0))
        return replace(part, bodies=tuple(_moved(body, (x, y, z)) for body in part.bodies))

    return replace(assembly, parts=tuple(pulled(part) for part in assembly.parts))


def _moved(body: Solid, way: Point3) -> Solid:
    x, y, z = way
    return body.translate(Vector(x, math.copysign(y, body.center().Y), z))


def surfaces(assembly: Assembly, without: frozenset[Name] = frozenset(), dark: bool = False) -> list[Surface]:
    """Return all that stands in its place; `dark` gives what is printed one dark colour, as the build guide asks."""
    found: list[Surface] = []
    for number, part in enumerate(part for part in assembly.in_place if part.name not in without):
        printed = (34, 34, 36) if dark else PRINTED[number % len(PRINTED)]
        colour = LIGHT_SHEETS.get(part.name, printed)
        found += [Surface(facets(body, COARSE), colour) for body in part.bodies]
    return found


def outside(assembly: Assembly) -> Picture:
    """Return two views side by side: together, from the mouth's side and above, and pulled apart."""
    return np.hstack([_whole(each, 38.0, 22.0) for each in (assembly, apart(assembly))])


def _whole(assembly: Assembly, bearing_deg: float, height_deg: float) -> Picture:
    shown = surfaces(assembly)
    points = np.vstack([each.facets.points for each in shown])
    low, high = points.min(axis=0), points.max(axis=0)
    scale = SIZE[1] / float(np.linalg.norm(high - low)) * 1.02
    return draw(shown, orthographic(bearing_deg, height_deg, scale, (low + high) / 2, SIZE), SIZE)


def through_the_lens(assembly: Assembly) -> Picture:
    """Return what the camera sees, in the size that the counter works in; the window is taken for perfectly clear."""
    return draw(before_the_lens(assembly), lens(assembly.layout), assembly.layout.parameters.camera.image_px, False)


def before_the_lens(assembly: Assembly) -> list[Surface]:
    """Return what the camera may see, its printed parts dark."""
    return surfaces(assembly, frozenset({Name.WINDOW}), dark=True)


def lens(layout: Layout) -> View:
    """Return the view of the camera as it hangs."""
    look = np.array(gaze(layout))
    right, size = np.array([-look[2], 0.0, look[0]]), layout.parameters.camera.image_px
    return pinhole(np.array(layout.pupil), look, right, layout.sight.focal_px, size)


def save(picture: Picture, path: Path) -> None:
    """Write a picture as PNG."""
    image.imsave(path, picture, format="png")

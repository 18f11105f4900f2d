"""The pictures of a design: the assembly from outside, and what the camera would see of it."""

from pathlib import Path

import numpy as np
from matplotlib import image

from swapbell_enclosure.assembly import Assembly
from swapbell_enclosure.facets import COARSE, facets
from swapbell_enclosure.places import gaze
from swapbell_enclosure.render import Colour, Picture, Surface, draw, orthographic, pinhole
from swapbell_enclosure.screws import Name

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


def surfaces(assembly: Assembly, without: frozenset[Name] = frozenset(), dark: bool = False) -> list[Surface]:
    """Return all that stands in its place; `dark` gives what is printed one dark colour, as the build guide asks."""
    found: list[Surface] = []
    for number, part in enumerate(part for part in assembly.in_place if part.name not in without):
        printed = (34, 34, 36) if dark else PRINTED[number % len(PRINTED)]
        colour = LIGHT_SHEETS.get(part.name, printed)
        found += [Surface(facets(body, COARSE), colour) for body in part.bodies]
    return found


def outside(assembly: Assembly) -> Picture:
    """Return two views side by side: from the mouth's side and above, and from below."""
    shown = surfaces(assembly)
    points = np.vstack([each.facets.points for each in shown])
    low, high = points.min(axis=0), points.max(axis=0)
    scale = SIZE[1] / float(np.linalg.norm(high - low)) * 1.02
    views = [
        orthographic(bearing, height, scale, (low + high) / 2, SIZE) for bearing, height in ((38, 22), (-52, -28))
    ]
    return np.hstack([draw(shown, view, SIZE) for view in views])


def through_the_lens(assembly: Assembly) -> Picture:
    """Return what the camera sees, in the size that the counter works in; the window is taken for perfectly clear."""
    layout = assembly.layout
    look = np.array(gaze(layout))
    view = pinhole(
        np.array(layout.pupil),
        look,
        np.array([-look[2], 0.0, look[0]]),
        layout.sight.focal_px,
        layout.parameters.camera.image_px,
    )
    shown = surfaces(assembly, frozenset({Name.WINDOW}), dark=True)
    return draw(shown, view, layout.parameters.camera.image_px, outlines=False)


def save(picture: Picture, path: Path) -> None:
    """Write a picture as PNG."""
    image.imsave(path, picture, format="png")

"""Pictures of the assembly by a depth buffer: from outside for people, and what the camera itself sees.

Our own few lines, because a renderer with a window toolkit is heavier than all else here and many machines have none.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swapbell_enclosure.facets import Array, Facets

Picture = NDArray[np.uint8]
Colour = tuple[int, int, int]
# Image points [px] and depth [mm] of points in space [mm].
View = Callable[[Array], Array]
PAPER: Colour = (255, 255, 255)
# Our choice: light from above, in front and from the left, and enough of it everywhere to see into the shade.
LIGHT = np.array([-0.4, -0.6, 0.7]) / np.linalg.norm([-0.4, -0.6, 0.7])
SHADE = 0.45
# Our choice: the distance of a view from far away, beyond any part.
FAR_MM = 1e4
# Our choice: two faces whose normals differ by so much meet in an edge that is drawn.
CREASE = 0.3


@dataclass(frozen=True, slots=True)
class Surface:
    """A body to be drawn, in its colour."""

    facets: Facets
    colour: Colour


def orthographic(
    bearing_deg: float, height_deg: float, px_per_mm: float, centre: Array, size: tuple[int, int]
) -> View:
    """Return a view from far away: so many degrees round from the lane's mouth, so many above the horizon."""
    turn, lift = np.radians([bearing_deg, height_deg])
    towards = np.array([-np.cos(turn) * np.cos(lift), -np.sin(turn) * np.cos(lift), np.sin(lift)])
    right = np.array([np.sin(turn), -np.cos(turn), 0.0])
    down = -np.cross(towards, right)
    frame = np.array([right * px_per_mm, down * px_per_mm, -towards])
    middle = np.array([size[0] / 2, size[1] / 2, FAR_MM])

    def view(points: Array) -> Array:
        return np.asarray((points - centre) @ frame.T + middle, np.float64)

    return view


def pinhole(eye: Array, gaze: Array, right: Array, focal_px: float, size: tuple[int, int]) -> View:
    """Return what a lens sees: `focal_px` is its distance from the sensor in pixels."""
    frame = np.array([right, np.cross(gaze, right), gaze])

    def view(points: Array) -> Array:
        seen = (points - eye) @ frame.T
        depth = np.where(seen[:, 2] == 0.0, -1.0, seen[:, 2])
        x = focal_px * seen[:, 0] / depth + size[0] / 2
        y = focal_px * seen[:, 1] / depth + size[1] / 2
        return np.stack([x, y, depth], axis=1)

    return view


def draw(surfaces: Sequence[Surface], view: View, size: tuple[int, int], outlines: bool = True) -> Picture:
    """Return the picture, rows first, red-green-blue.

    Parameters
    ----------
    surfaces : sequence of Surface
        What there is to see.
    view : callable
        Where each point lies in the picture, and how deep; what reaches behind the lens is left out.
    size : (int, int)
        Width and height [px].
    outlines : bool
        Whether edges between faces are drawn dark.
    """
    depth = np.full((size[1], size[0]), np.inf)
    face = np.full((size[1], size[0]), -1, np.int64)
    colours: list[Array] = []
    normals: list[Array] = []
    first = 0
    for surface in surfaces:
        made = surface.facets
        corners = view(made.points)[made.triangles]
        _fill(corners, first, depth, face)
        unit = made.across / np.linalg.norm(made.across, axis=1, keepdims=True)
        lit = SHADE + (1.0 - SHADE) * np.clip(unit @ LIGHT, 0.0, 1.0)
        colours.append(lit[:, None] * np.array(surface.colour))
        normals.append(np.hstack([unit, np.full((len(unit), 1), float(len(normals)))]))
        first += len(corners)
    painted = np.vstack([*colours, np.array(PAPER, np.float64)[None]])[face]
    if outlines:
        painted[_edges(np.vstack([*normals, np.full((1, 4), -9.0)])[face])] *= 0.35
    return painted.round().astype(np.uint8)


def _fill(corners: Array, first: int, depth: Array, face: NDArray[np.int64]) -> None:
    height, width = depth.shape
    for index, ((ax, ay, az), (bx, by, bz), (cx, cy, cz)) in enumerate(corners.tolist()):
        if min(az, bz, cz) <= 0.0:
            continue
        twice = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
        x0, x1 = max(int(min(ax, bx, cx)), 0), min(int(max(ax, bx, cx)) + 2, width)
        y0, y1 = max(int(min(ay, by, cy)), 0), min(int(max(ay, by, cy)) + 2, height)
        if twice == 0.0 or x0 >= x1 or y0 >= y1:
            continue
        x, y = np.arange(x0, x1)[None, :] + 0.5, np.arange(y0, y1)[:, None] + 0.5
        b = ((x - ax) * (cy - ay) - (cx - ax) * (y - ay)) / twice
        c = ((bx - ax) * (y - ay) - (x - ax) * (by - ay)) / twice
        z = az + b * (bz - az) + c * (cz - az)
        near = depth[y0:y1, x0:x1]
        hit = (b >= 0) & (c >= 0) & (b + c <= 1) & (z < near)
        near[hit] = z[hit]
        face[y0:y1, x0:x1][hit] = first + index


def _edges(normals: Array) -> NDArray[np.bool_]:
    """Return where neighbouring pixels belong to faces that do not lie alike."""
    edge = np.zeros(normals.shape[:2], bool)
    edge[:, 1:] |= (np.abs(np.diff(normals, axis=1)) > CREASE).any(axis=2)
    edge[1:] |= (np.abs(np.diff(normals, axis=0)) > CREASE).any(axis=2)
    return edge

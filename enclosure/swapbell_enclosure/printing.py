"""Whether a part can be printed: closed, thick enough, without roofs in the air, within the bed."""

from dataclasses import dataclass

import numpy as np
import trimesh
from numpy.typing import NDArray

from swapbell_enclosure.facets import COARSE, Array, Facets, on_bed, size_mm
from swapbell_enclosure.part import Part

# From the vertical; a roof that leans out farther needs something under it.
OVERHANG_MAX_DEG = 50.0
WALL_MIN_MM = 1.6
# Our choice: a face this near the bed is printed on it.
ON_BED_MM = 0.05
# Our choice: two faces that look away from each other within this angle are the two sides of one wall.
OPPOSITE_DEG = 20.0
# Our choice: a ray does not hit the face that it starts from.
HERE_MM = 1e-6
# What rounding to triangles may take from a wall.
ROUNDING_MM = 0.05


@dataclass(frozen=True, slots=True)
class Print:
    """What a part looks like on the printer.

    Attributes
    ----------
    watertight
        Whether its skin is closed, every edge shared by two triangles of one sense.
    pieces
        How many separate bodies it is.
    overhang_mm2
        The area of roofs that lean out more than `OVERHANG_MAX_DEG` and do not lie on the bed [mm2].
    wall_mm
        The thinnest wall found [mm].
    size_mm
        Its bounds on the bed [mm].
    """

    watertight: bool
    pieces: int
    overhang_mm2: float
    wall_mm: float
    size_mm: tuple[float, float, float]


def look_at(part: Part) -> Print:
    """Return what a part looks like on the printer.

    Its walls are looked for on coarse triangles, made first: the kernel keeps the finest that it has made.
    """
    coarse = on_bed(part, COARSE)
    made = on_bed(part)
    return judge(made, coarse)


def judge(made: Facets, coarse: Facets) -> Print:
    """Return what fine and coarse triangles of one body tell, lying as printed."""
    mesh = trimesh.Trimesh(made.points, made.triangles, process=False)
    return Print(
        watertight=bool(mesh.is_watertight and mesh.is_winding_consistent),
        pieces=int(mesh.body_count),
        overhang_mm2=overhang_mm2(made),
        wall_mm=wall_mm(coarse),
        size_mm=size_mm(made),
    )


def overhang_mm2(made: Facets) -> float:
    """Return the area of unsupported roofs [mm2]."""
    across = made.across
    twice = np.linalg.norm(across, axis=1)
    leans = -across[:, 2] > twice * np.sin(np.radians(OVERHANG_MAX_DEG + 0.01))
    in_air = made.corners[:, :, 2].max(axis=1) > ON_BED_MM
    return float(twice[leans & in_air].sum() / 2.0)


def wall_mm(made: Facets) -> float:
    """Return the thinnest wall [mm]: from points on every face straight in, to the face that looks the other way."""
    across = made.across
    normals = across / np.linalg.norm(across, axis=1, keepdims=True)
    thinnest = np.inf
    for shares in ((1 / 3, 1 / 3, 1 / 3), (0.8, 0.1, 0.1), (0.1, 0.8, 0.1), (0.1, 0.1, 0.8)):
        starts = np.einsum("ijk,j->ik", made.corners, np.array(shares))
        thinnest = min(thinnest, _thinnest(made, starts, normals))
    return float(thinnest)


def _thinnest(made: Facets, starts: Array, normals: Array) -> float:
    opposite = np.cos(np.radians(180.0 - OPPOSITE_DEG))
    found = np.inf
    for start, normal in zip(starts, normals, strict=True):
        facing = normals @ normal < opposite
        found = min(found, _first_hit(made.corners[facing], start, -normal))
    return found


def _first_hit(corners: Array, start: Array, direction: Array) -> float:
    """Return how far a ray runs to the nearest of some triangles [mm]: Moeller and Trumbore 1997 (from memory)."""
    if not len(corners):
        return np.inf
    a, b, c = np.moveaxis(corners, 1, 0)
    along, beside, offset = b - a, c - a, start - a
    cross = np.cross(direction, beside)
    scale = np.einsum("ij,ij->i", along, cross)
    turned = np.cross(offset, along)
    with np.errstate(divide="ignore", invalid="ignore"):
        u = np.einsum("ij,ij->i", offset, cross) / scale
        v = turned @ direction / scale
        distance = np.einsum("ij,ij->i", beside, turned) / scale
    inside: NDArray[np.bool_] = (u >= 0) & (v >= 0) & (u + v <= 1) & (distance > HERE_MM)
    return float(distance[inside].min()) if inside.any() else np.inf

"""A solid as flat triangles: what a printer's slicer, the renderer and the checks of a print see."""

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from swapbell_enclosure.part import Part
from swapbell_enclosure.solid import Point3, Solid

Array = NDArray[np.float64]
# How far a chord may stand off its arc, as a share of the edge's length (so the kernel takes it), and the angle
# between chords [rad]. Our choice: fine enough for a volume within half a per cent; coarse for what is looked at.
FINE = (0.001, 0.35)
COARSE = (0.01, 0.6)


@dataclass(frozen=True, slots=True)
class Facets:
    """Triangles: corner points [mm], and three indices of them per triangle, outside seen anticlockwise."""

    points: Array
    triangles: NDArray[np.int64]

    @property
    def corners(self) -> Array:
        """Return each triangle's three corners."""
        return np.asarray(self.points[self.triangles], np.float64)

    @property
    def across(self) -> Array:
        """Return each triangle's outward normal, twice its area long."""
        a, b, c = np.moveaxis(self.corners, 1, 0)
        return np.asarray(np.cross(b - a, c - a), np.float64)

    @property
    def volume_mm3(self) -> float:
        """Return the enclosed volume [mm3], by the divergence theorem."""
        a, b, c = np.moveaxis(self.corners, 1, 0)
        return float(np.einsum("ij,ij->", a, np.cross(b, c))) / 6.0


def facets(body: Solid, deviation: tuple[float, float] = FINE) -> Facets:
    """Return a solid's triangles, each point once, within a deviation of length and of angle."""
    vertices, triangles = body.tessellate(*deviation)
    points = np.array([tuple(each) for each in vertices], np.float64).round(6)
    unique, back = np.unique(points, axis=0, return_inverse=True)
    indices = back.reshape(-1)[np.array(triangles, np.int64)]
    whole = (indices != np.roll(indices, 1, axis=1)).all(axis=1)
    return Facets(unique, indices[whole])


def to_bed(up: Point3) -> Array:
    """Return the rotation that turns an axis of the assembly up."""
    z = np.array(up)
    x = np.array([0.0, 1.0, 0.0]) if z[0] else np.array([1.0, 0.0, 0.0])
    return np.array([x, np.cross(z, x), z])


def on_bed(part: Part, deviation: tuple[float, float] = FINE) -> Facets:
    """Return a part's triangles as it lies on the printer's bed, its lowest corner at the origin."""
    made = facets(part.body, deviation)
    turned = made.points @ to_bed(part.up).T
    return Facets(turned - turned.min(axis=0), made.triangles)


def size_mm(made: Facets) -> tuple[float, float, float]:
    """Return length, width and height [mm]."""
    return cast("tuple[float, float, float]", tuple(float(each) for each in np.ptp(made.points, axis=0)))
